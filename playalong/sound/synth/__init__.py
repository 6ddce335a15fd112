"""Sounds made from figures: drums, clicks, notes of a pattern."""
