"""Music as written on paper, and how it is played out: what the readers of notation share."""
