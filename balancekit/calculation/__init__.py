"""Pure computing: numpy, pandas and scipy; no files, no charts, no widgets."""
