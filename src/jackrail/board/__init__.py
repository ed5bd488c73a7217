"""The board: what fits in its memory."""
