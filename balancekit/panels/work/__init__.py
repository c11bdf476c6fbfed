"""Panels of the work at the bench and of its proof."""
