"""Tests of what was played, held against the pattern."""
