"""Other formats: Standard MIDI File."""
