"""Report: one work as one page for the maker's bench. The door is `render_report`."""

from .render import render_report

__all__ = ["render_report"]
