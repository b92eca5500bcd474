"""The built-in forms, as TOML files, and the fingerprints of their printed editions."""
