"""What is measured of a matched run, one measure a file. Pure."""
