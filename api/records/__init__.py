"""Batches, events, weighings and the rest, append-only and chained by hash."""
