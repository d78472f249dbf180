"""The calculations. Pure: no I/O, no clock, no web, no database."""
