"""What is known of a code of ours beside its display: grade, default, what it asks for, words in other languages."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from service.basics.coding import Concept
from service.catalogue.catalogue import Catalogue
from service.exam.rules import Attribute, Value


def value_facts(attribute: Attribute, value: Value) -> Iterator[tuple[str, str | int | bool]]:
    """The facts of one word of a vocabulary; those that do not apply are left out."""
    if value.grade >= 0:
        yield "grade", value.grade
    yield "expected", value.default
    if value.measures:
        yield "measures", " ".join(value.measures)
    if value.lesions:
        yield "lesions", value.lesions
    if attribute.compared_with:
        yield "compared-with", attribute.compared_with
    if attribute.asked_when:
        yield "asked-when", attribute.asked_when


def translated(catalogue: Catalogue, url: str, concepts: Iterable[Concept]) -> Sequence[Concept]:
    """The concepts of one of our code systems with their words in other languages; codes never change."""
    return [replace(one, translations=catalogue.translations.get((url, one.code), ())) for one in concepts]
