"""Patterns as MusicXML: what both ways share, reading, writing."""
