"""For the teacher: exercises and grands of one's own, the class, and sheets on paper."""
