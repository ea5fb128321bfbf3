"""All that is wrong with mappings/, told at once."""

from collections.abc import Iterable


class CatalogueFaults(Exception):
    """The mappings cannot be used. `faults` holds each one as "file:line: text"."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


def in_order(faults: Iterable[str]) -> list[str]:
    """The faults by file and line."""
    return sorted(faults, key=_place)


def _place(fault: str) -> tuple[str, int]:
    name, _, rest = fault.partition(":")
    number = rest.partition(":")[0]
    return name, int(number) if number.isdigit() else 0
