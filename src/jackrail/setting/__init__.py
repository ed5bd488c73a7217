"""The setting: a tune fitted to a machine, with what was given up and why."""
