"""The scale, the hand, and which keys to weigh."""
