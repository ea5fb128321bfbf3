"""Words that every room shares; no I/O, no library."""
