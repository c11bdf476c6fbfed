"""How heavy the hammers may be, and what their mass does."""
