"""An uneven piano to be played: a toy, for the question that the equation answers."""
