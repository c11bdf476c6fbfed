"""Panels that choose the mass of the hammers."""
