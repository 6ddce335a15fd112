"""What is kept: takes."""
