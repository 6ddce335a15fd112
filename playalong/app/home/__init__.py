"""The first page, and the rooms that it leads to: one window, in which Back leads back."""
