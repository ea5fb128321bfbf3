"""Exact decimals -> whole numbers of 64 bits in the same order, and the stretches that a searched number stands for."""

from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal

from service.basics.query import Period

PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")
DIGITS = 16  # kept exactly; of a longer number its neighbours of so many digits are kept, one on either side
_WIDTH = 10**DIGITS
_LARGEST = 400  # exponents beyond are refused where text is decoded
_WIDE = Context(prec=2000)
_CONTEXTS = {rounding: Context(prec=DIGITS, rounding=rounding) for rounding in (ROUND_FLOOR, ROUND_CEILING)}


def stretch(value: Decimal | int) -> tuple[int, int]:
    """(low, high): the same number twice when the value has at most DIGITS digits."""
    return _placed(Decimal(value), ROUND_FLOOR), _placed(Decimal(value), ROUND_CEILING)


def times(value: Decimal | int, factor: Decimal) -> Decimal:
    """The product with every digit."""
    return _WIDE.multiply(Decimal(value), factor)


def _placed(value: Decimal, rounding: str) -> int:
    short = _CONTEXTS[rounding].plus(value)
    if not short:
        return 0
    sign, digits, _ = short.as_tuple()
    mantissa = int("".join(map(str, digits)).ljust(DIGITS, "0"))
    exponent = min(max(short.adjusted(), -_LARGEST), _LARGEST)
    number: int = (exponent + _LARGEST) * _WIDTH + mantissa
    return -number if sign else number


def periods(key: int, prefix: str, value: Decimal, factor: Decimal) -> tuple[Period, ...]:
    """The periods one of which a mark must fit, the value given in a unit of `factor` of that of the marks.

    eq and ne mean the stretch of the digits given (7.0 is 6.95 up to but not 7.05); gt, lt, sa and eb the exact
    number; ap a tenth to either side."""
    low, high = _rounded(value, factor)
    exact = times(value, factor)
    inside = Period(key, low_from=_first(low), low_to=_first(high) - 1)
    more = Period(key, high_from=_placed(exact, ROUND_FLOOR) + 1)
    less = Period(key, low_to=_placed(exact, ROUND_CEILING) - 1)
    by_prefix = {
        "eq": (inside,),
        "ne": (Period(key, low_to=_first(low) - 1), Period(key, low_from=_first(high))),
        "gt": (more,),
        "sa": (more,),
        "lt": (less,),
        "eb": (less,),
        "ge": (inside, more),
        "le": (inside, less),
    }
    return by_prefix[prefix] if prefix != "ap" else (inside, _near(key, exact))


def _near(key: int, exact: Decimal) -> Period:
    margin = times(abs(exact), Decimal("0.1"))
    return Period(
        key, low_from=_first(_WIDE.subtract(exact, margin)), high_to=_placed(_WIDE.add(exact, margin), ROUND_FLOOR)
    )


def _first(value: Decimal) -> int:
    """The first place that is not below the value."""
    return _placed(value, ROUND_CEILING)


def _rounded(value: Decimal, factor: Decimal) -> tuple[Decimal, Decimal]:
    """From and up to which numbers are rounded to the value at its own precision; 1e2 is 95 up to 105, as R4 has it."""
    exponent = int(value.as_tuple().exponent)
    half = Decimal((0, (5,), exponent - (1 if exponent <= 0 else 2)))
    return times(_WIDE.subtract(value, half), factor), times(_WIDE.add(value, half), factor)
