"""Patterns as Standard MIDI Files: what both ways share, reading, writing."""
