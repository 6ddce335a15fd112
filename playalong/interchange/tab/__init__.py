"""Patterns as drum tab: what both ways share, reading, writing."""
