"""Motion: one law for how long moves, pick turns and strokes take, and the voices made of it."""
