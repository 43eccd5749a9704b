"""The store, the seal and the history of a loom."""
