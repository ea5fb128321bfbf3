"""What people wrote into texts that can be printed: no control characters, nothing that reorders, no blank edges."""

_NONCHARACTERS = (*range(0xFDD0, 0xFDF0), *(p << 16 | e for p in range(17) for e in (0xFFFE, 0xFFFF)))
_UNPRINTABLE = {c: None for c in (*range(32), *range(0x7F, 0xA0), *_NONCHARACTERS) if c != 10}
_REORDERING = dict.fromkeys((0x200E, 0x200F, 0x061C, *range(0x202A, 0x202F), *range(0x2066, 0x206A)))
_TAKEN_OUT = _UNPRINTABLE | _REORDERING
_BLANK = " \n\u00a0\u00ad\u200b\u200c\u200d\u2060\u3000\ufeff"  # at an edge nobody sees any of them


def clean(text: str) -> str:
    """A person's own text without control characters, with plain line ends and no blank edges; else unchanged."""
    if text.isascii() and text.isprintable():
        return text.strip(_BLANK)
    plain = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    plain = plain.replace("\t", " ").replace("\v", " ").replace("\f", " ")
    return plain.translate(_TAKEN_OUT).strip(_BLANK)


def one_line(text: str) -> str:
    """The same, on one line: for names and short words inside a sentence."""
    return " ".join(clean(text).split())
