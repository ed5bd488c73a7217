"""MusicXML scores (4.0 and before) as tunes."""
