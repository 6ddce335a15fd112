"""The pages on which a kit is set up, one a file."""
