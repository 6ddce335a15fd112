"""TOML that a person writes: what it says, and where it says so."""
