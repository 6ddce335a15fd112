"""What to play next. Pure: no device, no file, no clock."""
