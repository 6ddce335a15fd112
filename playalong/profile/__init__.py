"""What is known of a kit and its player, learned from their strokes. Pure."""
