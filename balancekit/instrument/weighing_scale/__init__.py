"""An electronic scale on a serial or USB port: its lines, its wire, and when a number is taken."""
