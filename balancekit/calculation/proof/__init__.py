"""What the work should bring, and whether it did."""
