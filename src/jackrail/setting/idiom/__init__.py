"""Idiom: what players do beside striking each note once, put into the time that the fit leaves."""
