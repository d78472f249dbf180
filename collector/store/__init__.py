"""Where readings are kept."""
