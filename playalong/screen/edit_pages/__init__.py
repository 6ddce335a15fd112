"""Pages on which a pattern is written, and on which a file that was opened is shown."""
