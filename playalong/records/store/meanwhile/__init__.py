"""What goes to files while the store cannot be used, and is taken in once it can."""
