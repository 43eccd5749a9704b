"""What may be said of it: claims, verdict, what was not tested, the document."""
