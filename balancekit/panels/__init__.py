"""Widgets for the notebooks: thin views of one bench."""
