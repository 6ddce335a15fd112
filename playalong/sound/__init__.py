"""What the player hears: click, timeline, output."""
