"""The warm-up, played in the window."""
