"""The roll: cues and machine constants packed in bytes, and read back."""
