"""What every room may use: errors, resources, files, words for a terminal. Knows no drums."""
