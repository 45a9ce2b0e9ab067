"""What each file may say: the validated tables behind the TOML."""
