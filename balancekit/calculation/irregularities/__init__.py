"""What is slow trend, what is the piano and what is a slip of the pen."""
