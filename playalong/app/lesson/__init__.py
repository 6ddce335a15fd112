"""A lesson, played in the window."""
