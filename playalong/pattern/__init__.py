"""What should be played. Pure: no device, no file, no clock."""
