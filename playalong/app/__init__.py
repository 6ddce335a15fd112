"""Where kit, sound, screen and grading meet. The only room that knows all others."""
