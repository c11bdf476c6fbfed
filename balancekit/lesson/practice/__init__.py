"""Exercises: made, judged, written by a teacher, on the screen and on paper."""
