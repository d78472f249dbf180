"""The analysis of a batch: records and readings gathered, calculated, and put into JSON."""
