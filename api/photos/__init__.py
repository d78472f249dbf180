"""Photos of a batch: made safe to keep, kept under the hash of their bytes, told in its record."""
