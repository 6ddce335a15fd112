"""Pages that look back: plots over days and weeks, a run bar by bar, two runs side by side."""
