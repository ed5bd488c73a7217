"""Tunes: read from MIDI, ABC and MusicXML, repeats played out, as one plain type (`model.Tune`)."""
