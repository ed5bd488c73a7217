"""Cues: timed commands to motors and coils. Lead times are applied here and nowhere else."""
