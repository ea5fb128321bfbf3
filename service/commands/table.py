"""Turns rows of text into aligned lines that cannot play tricks with a terminal."""

from collections.abc import Sequence


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """The head and the rows as lines with aligned columns."""
    lines = [[printable(cell) for cell in row] for row in (head, *rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]


def printable(text: str, *, keep: str = "") -> str:
    """The text with everything but printable characters (and those in keep) as escapes: others' text, shown safely."""
    return "".join(c if c.isprintable() or c in keep else c.encode("unicode_escape").decode("ascii") for c in text)
