"""Words too long for where they are printed into words that may break."""

import re
from typing import Any

BREAK = "\u200b"  # where a word may break
IN_A_LINE, IN_A_COLUMN = 80, 24  # a word longer than this has no place to break at and would run off the paper


def broken(value: Any, most: int) -> Any:
    """The same texts, lists and objects with places to break at in every word that is longer than most."""
    if isinstance(value, str):
        return re.sub(rf"[^\s{BREAK}]{{{most},}}", _with_breaks, value) if len(value) >= most else value
    if isinstance(value, list | tuple):
        return [broken(one, most) for one in value]
    if isinstance(value, dict):
        return {key: broken(one, most) for key, one in value.items()}
    return value


def _with_breaks(word: re.Match[str]) -> str:
    return BREAK.join(word[0][i : i + 12] for i in range(0, len(word[0]), 12))
