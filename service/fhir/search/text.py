"""Text of people -> folded text, so that case and accents do not matter in a search."""

from unicodedata import combining, normalize

LONGEST = 200  # characters kept of one text key


def fold(text: str) -> str:
    """Lower case without accents, white space as single spaces; at most LONGEST characters."""
    if not text.isascii():
        text = "".join(c for c in normalize("NFKD", text) if not combining(c))
    return " ".join(text.casefold().split())[:LONGEST]
