"""What several rooms of tests share."""
