"""Variations mixed: called one by one, played freely, and named from what was played."""
