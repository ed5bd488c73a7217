"""ABC files (ABC 2.1) as tunes."""
