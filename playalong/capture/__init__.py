"""A groove that was played, understood: from hits to a pattern."""
