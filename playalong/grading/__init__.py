"""What was played, held against the pattern. Pure: no device, no file, no clock."""
