"""The realtime loop: the only room where kit, sound, screen and grading meet."""
