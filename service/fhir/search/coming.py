"""What can come along with the matches of a search (_include, _revinclude), and one such wish as the store runs it."""

from service.basics.query import Include
from service.fhir.search.asked import BadValue
from service.fhir.search.table import Row, rows

_LINES = "AuditEvent"  # the audit is kept as lines: it comes along with nothing, and nothing with it


def included(type_: str) -> tuple[str, ...]:
    """Every _include of a type: Type:parameter of each reference that it may bear."""
    return tuple(f"{type_}:{row.code}" for row in _references(type_))


def referring(type_: str) -> tuple[str, ...]:
    """Every _revinclude of a type: Type:parameter of each reference that may lead to it."""
    if type_ == _LINES:
        return ()
    return tuple(f"{other}:{row.code}" for other in rows() for row in _references(other) if _leads(row, type_))


def include(name: str, value: str, *, reverse: bool, iterate: bool) -> Include:
    """The wish; raises BadValue for what is no reference of a type that is kept."""
    type_, _, rest = value.partition(":")
    code, _, target = rest.partition(":")
    known = {row.code: row for row in _references(type_)}
    if code not in known or (target and (target not in rows() or target == _LINES)):
        raise BadValue(f"{name} needs Type:parameter or Type:parameter:Target of a reference; {value} is none")
    if target and not _leads(known[code], target):
        raise BadValue(f"{name}: {type_}:{code} never leads to {target}")
    return Include(type_, code, target, reverse=reverse, iterate=iterate)


def _references(type_: str) -> list[Row]:
    found = {} if type_ == _LINES else rows().get(type_, {})
    return [
        row for row in found.values() if row.kind == "reference" and any(path[-1] == "Reference" for path in row.paths)
    ]


def _leads(row: Row, type_: str) -> bool:
    return row.target in ("", type_) and (not row.targets or type_ in row.targets)
