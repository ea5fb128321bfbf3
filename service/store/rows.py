"""Rows of the resource tables, turned into versions as other rooms know them."""

from typing import Any

from service.basics.stored import Stored

COLUMNS = "type, id, version, updated, body, deleted, method, row"


def stored(row: tuple[Any, ...]) -> Stored:
    """The first eight values of a row, in the order of COLUMNS."""
    type_, id_, version, updated, body, deleted, method, place = row[:8]
    return Stored(type_, id_, version, updated, body, deleted=bool(deleted), method=method, row=place)
