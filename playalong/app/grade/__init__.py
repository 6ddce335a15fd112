"""A take and its grade: which pattern it is of, and what it is held against."""
