"""The warm-up: exercises, what each is warmed by, the routine of a day."""
