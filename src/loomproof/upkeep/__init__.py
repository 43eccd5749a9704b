"""Whether a bench still reads as it did: control charts of what its self-tests read, and studies of it."""
