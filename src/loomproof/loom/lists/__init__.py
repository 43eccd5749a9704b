"""Lists that people have: who is joined to whom, under headings of their own."""
