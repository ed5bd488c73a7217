"""The board: what its flash holds, and the serial link to it."""
