"""What a file does not say and its notes tell: key, chords, the line that is the melody, the grid of the beat."""
