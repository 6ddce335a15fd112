"""The timed assessment and the homework: what a teacher asks, how it is taken, what counts."""
