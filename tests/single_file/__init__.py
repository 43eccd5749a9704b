"""One file that has the program and all its libraries, for a machine without a network."""
