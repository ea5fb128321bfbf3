"""Rows of the resource tables, turned into versions as other rooms know them."""

from typing import Any

from service.basics.stored import Stored

COLUMNS = "type, id, version, updated, body, deleted, method"


def stored(row: tuple[Any, ...]) -> Stored:
    """The first seven values of a row, in the order of COLUMNS."""
    type_, id_, version, updated, body, deleted, method = row[:7]
    return Stored(type=type_, id=id_, version=version, updated=updated, body=body, deleted=bool(deleted), method=method)
