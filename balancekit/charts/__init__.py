"""Bokeh figures, each made by a function from data; nothing here shows, saves or computes."""
