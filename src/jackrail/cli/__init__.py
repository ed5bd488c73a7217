"""The command line: a thin adapter over `jackrail.api`. Nothing heavy is imported before a command runs."""

from .main import main

__all__ = ["main"]
