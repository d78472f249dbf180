"""Where readings come from: each an asynchronous iterator behind one small protocol."""
