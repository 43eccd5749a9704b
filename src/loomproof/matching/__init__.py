"""Which connector of a traced loom is which of a known one, what is sure of it, what one touch decides."""
