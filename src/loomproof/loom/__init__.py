"""The description of a loom: what it should be."""
