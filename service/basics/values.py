"""A class of fields into one whose values are made by the thousand for one answer."""

from dataclasses import dataclass
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def value(fields: type[T]) -> type[T]:
    """A dataclass with slots that compares, hashes and is copied as a frozen one.

    That nobody changes its values is held by the type check alone: what holds it at run time sets each field through
    `object`, and making one takes eight times as long."""
    return dataclass(slots=True, unsafe_hash=True)(fields)
