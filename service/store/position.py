"""The place where a page ended, turned into opaque text and back."""

from service.basics.errors import Fault, Invalid


def write(*numbers: int) -> str:
    """Opaque text for a tuple of whole numbers."""
    return ".".join(format(n, "x") for n in numbers)


def read(text: str, *, size: int) -> tuple[int, ...]:
    """The numbers again; Invalid when it is not a position of ours."""
    try:
        numbers = tuple(int(part, 16) for part in text.split("."))
    except ValueError:
        numbers = ()
    if len(numbers) != size or any(abs(n) >= 1 << 63 for n in numbers):
        raise Invalid(Fault("value", "This page link is not one that this service gave."))
    return numbers
