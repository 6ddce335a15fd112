"""What the wire says: messages, what a kit's notes mean, and the hits they are. Pure."""
