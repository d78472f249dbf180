"""One module for each migration, in order."""
