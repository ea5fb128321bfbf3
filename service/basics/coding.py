"""A code of one code system."""

from service.basics.values import value


@value
class Coding:
    """system is an absolute URI ("" when a sender gave none), code is case-sensitive text."""

    system: str
    code: str
    display: str = ""


@value
class Identifier:
    """A business identifier: the system that issued it and its value."""

    system: str
    value: str


@value
class Concept:
    """One code of a code system of ours, with its words; parent is the code that it stands under, if any.

    facts: what else is known of it, by name (a text, a number, yes or no); translations: (language, words)."""

    code: str
    display: str
    parent: str = ""
    facts: tuple[tuple[str, str | int | bool], ...] = ()
    translations: tuple[tuple[str, str], ...] = ()


@value
class Mapped:
    """One code of a sender and where it leads here; no targets: it is left to a person.

    side is "left", "right" or "both" when the row holds only for a site with that laterality."""

    source: Coding
    targets: tuple[Coding, ...]
    side: str = ""
