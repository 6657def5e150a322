"""The doors and the wiring: commands, channels, settings."""
