"""The machine: what the instrument is. A TOML file written by the maker, read into `Machine`."""
