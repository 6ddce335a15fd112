"""A live play-along grader for electronic drum kits."""
