"""Standard MIDI Files as tunes."""
