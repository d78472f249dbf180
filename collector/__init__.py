"""The collector: reads probes and scales and keeps every reading. Knows nothing of batches."""
