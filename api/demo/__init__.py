"""The simulated kitchen that `curdwright demo` shows; all of it is invented."""
