"""Texts and URIs asked for -> the criterion."""

from service.basics.query import Criterion, Exact, Reads, Starts
from service.fhir.search.asked import Asked
from service.fhir.search.elements import words
from service.fhir.search.text import fold
from service.fhir.search.values import unescaped


def string(asked: Asked) -> Criterion:
    """The beginning of a text, case and accents aside; :contains any part of it, :exact all of it as it stands."""
    asked.only("exact", "contains")
    texts = tuple(unescaped(value) for value in asked.values)
    if asked.modifier == "exact":
        return Exact(tuple(asked.key(text, suffix=":exact") for text in texts))
    return Starts(asked.key(""), tuple(fold(text) for text in texts), within=asked.modifier == "contains")


def uri(asked: Asked) -> Criterion:
    """The URI itself; :below those that begin with it, :above those that it begins with."""
    asked.only("above", "below")
    values = tuple(unescaped(value) for value in asked.values)
    if not asked.modifier:
        return Exact(tuple(asked.key(value) for value in values))
    row = asked.row
    if asked.modifier == "below":
        return Reads(lambda body: any(_under(uri, value) for uri in words(body, row) for value in values))
    return Reads(lambda body: any(_under(value, uri) for uri in words(body, row) for value in values))


def _under(one: str, other: str) -> bool:
    """Whether `one` is `other`, or below it in the same path."""
    return one == other or one.startswith(other if other.endswith("/") else f"{other}/")
