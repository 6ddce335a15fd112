"""Patterns of one's own: printed, opened from other formats, made and changed on the sheet."""
