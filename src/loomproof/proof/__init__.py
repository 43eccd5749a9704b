"""Planning what to ask, asking it, and comparing measured with expected."""
