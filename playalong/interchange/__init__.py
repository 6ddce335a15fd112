"""Patterns in the formats of other programs, in and out."""
