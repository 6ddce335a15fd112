"""What all pages are made of: theme, fonts, pen, widgets, keys, the window."""
