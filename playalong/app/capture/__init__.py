"""A groove played in: from a file, or live."""
