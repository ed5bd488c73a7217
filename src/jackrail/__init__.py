"""jackrail: from a tune to a performance by a real machine. The public door is `jackrail.api`."""

__version__ = "0.1.0"
