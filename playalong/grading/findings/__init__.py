"""What is behind a grade, and what to work on next. Pure."""
