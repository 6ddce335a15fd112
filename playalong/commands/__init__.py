"""The commands, one a file: their arguments, and what they run."""
