"""Pitch classes on C of the chord kinds of MusicXML 4.0 (w3.org/2021/06/musicxml40, data type kind-value)."""

# Semitones on C as the reference describes each kind: "major third, perfect fifth" for major; "dominant-ninth, perfect 11th" for
# dominant-11th, "dominant-11th, major 13th" for dominant-13th and so on.
KIND_PITCHES = {
    "major": {0, 4, 7}, "minor": {0, 3, 7}, "augmented": {0, 4, 8}, "diminished": {0, 3, 6}, "dominant": {0, 4, 7, 10},
    "major-seventh": {0, 4, 7, 11}, "minor-seventh": {0, 3, 7, 10}, "diminished-seventh": {0, 3, 6, 9}, "augmented-seventh": {0, 4, 8, 10},
    "half-diminished": {0, 3, 6, 10}, "major-minor": {0, 3, 7, 11}, "major-sixth": {0, 4, 7, 9}, "minor-sixth": {0, 3, 7, 9},
    "dominant-ninth": {0, 4, 7, 10, 2}, "major-ninth": {0, 4, 7, 11, 2}, "minor-ninth": {0, 3, 7, 10, 2},
    "dominant-11th": {0, 4, 7, 10, 2, 5}, "major-11th": {0, 4, 7, 11, 2, 5}, "minor-11th": {0, 3, 7, 10, 2, 5},
    "dominant-13th": {0, 4, 7, 10, 2, 5, 9}, "major-13th": {0, 4, 7, 11, 2, 5, 9}, "minor-13th": {0, 3, 7, 10, 2, 5, 9},
    "suspended-second": {0, 2, 7}, "suspended-fourth": {0, 5, 7}, "power": {0, 7}, "pedal": {0},
}  # fmt: skip
