"""Bytes or text into readings. Pure: no I/O."""
