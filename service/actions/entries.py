"""One requested write or read inside a transaction, and its result (the words live in basics)."""

from service.basics.entries import Entry, Result

__all__ = ["Entry", "Result"]
