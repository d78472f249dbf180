"""How a records database of an older version is brought up to date."""
