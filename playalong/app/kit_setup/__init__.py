"""Setting up a kit, page by page."""
