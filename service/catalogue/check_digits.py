"""Turns an outside code into a yes or no: whether its check digit is right, so that a typing slip is found."""

_STEP = (1, 5, 7, 6, 2, 8, 3, 0, 9, 4)


def well_formed(system: str, code: str) -> bool:
    """Whether a code of SNOMED CT (sct) or LOINC (ln) carries its right check digit; other systems always pass."""
    if system == "sct":
        return _digits(code) and 6 <= len(code) <= 18 and _verhoeff(code)
    if system == "ln":
        return _luhn(code)
    return True


def _digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _times(a: int, b: int) -> int:
    """The product in the dihedral group of order ten, on which the scheme rests."""
    turn = (a % 5 + b % 5) if a < 5 else (a % 5 - b % 5)
    return turn % 5 + (5 if (a < 5) != (b < 5) else 0)


def _verhoeff(code: str) -> bool:
    total = 0
    for place, digit in enumerate(reversed(code)):
        value = int(digit)
        for _ in range(place % 8):
            value = _STEP[value]
        total = _times(total, value)
    return total == 0


def _luhn(code: str) -> bool:
    number, dash, check = code.partition("-")
    if not dash or not _digits(number) or not _digits(check) or len(check) != 1:
        return False
    total = 0
    for place, digit in enumerate(reversed(number)):
        value = int(digit) * (2 if place % 2 == 0 else 1)
        total += value // 10 + value % 10
    return (10 - total % 10) % 10 == int(check)
