"""Pure computing: numpy, pandas, scipy and scikit-learn, no files, no charts, no widgets."""
