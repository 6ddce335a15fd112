"""The pages of playing, one a file."""
