"""A code of one code system."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Coding:
    """system is an absolute URI ("" when a sender gave none), code is case-sensitive text."""

    system: str
    code: str
    display: str = ""


@dataclass(frozen=True, slots=True)
class Identifier:
    """A business identifier: the system that issued it and its value."""

    system: str
    value: str
