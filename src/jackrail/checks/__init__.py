"""Checks beside the line: judgements that become findings."""
