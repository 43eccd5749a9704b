"""The bench in a browser: one server on this machine, one job at a time, one person who drives."""
