"""Advice: what to change on a machine so that it plays more."""
