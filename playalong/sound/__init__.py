"""What the player hears: click, drum kit, timeline, output."""
