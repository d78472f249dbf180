"""Limits, alarms and notices."""
