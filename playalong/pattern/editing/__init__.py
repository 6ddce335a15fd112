"""Writing a pattern: what can be changed, undone, and where the cursor stands. Pure."""
