"""Marks that the detector suggests: recorded, accepted, dismissed."""
