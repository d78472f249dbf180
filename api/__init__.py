"""The API: records of batches, pure calculations, the watch, and the HTTP interface."""
