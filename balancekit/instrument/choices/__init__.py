"""What was decided, and what follows from it key by key."""
