"""The sound device, its frames on the program's clock."""
