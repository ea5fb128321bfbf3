"""What is wanted of the audit, turned into conditions: which lines are looked at, and what each of them is asked."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from service.basics.query import AuditQuery, Span
from service.store import position


@dataclass(frozen=True, slots=True)
class Conditions:
    """Texts that must all hold, and the values of their places."""

    texts: tuple[str, ...] = ()
    params: tuple[object, ...] = ()

    @property
    def text(self) -> str:
        """All of them as one."""
        return " AND ".join(self.texts)

    def also(self, text: str, *params: object) -> "Conditions":
        """These and one more."""
        return Conditions((*self.texts, text), (*self.params, *params))


def walked(wanted: AuditQuery, after: str) -> Conditions:
    """Which lines are looked at, found by index: of an organisation, a time, these ids, behind a position."""
    walk = Conditions(("organization = ?",))
    for spans in wanted.spans:
        lows, highs = [low for low, _ in spans], [high for _, high in spans]
        if None not in lows:
            walk = walk.also("recorded_us >= ?", min(low for low in lows if low is not None))
        if None not in highs:
            walk = walk.also("recorded_us <= ?", max(high for high in highs if high is not None))
    for alternatives in filter(_of_ids, wanted.criteria):
        places = ", ".join("?" * len(alternatives))
        walk = walk.also(f"id IN ({places})", *(value for _, value in alternatives))
    return walk.also("(recorded_us, row) < (?, ?)", *position.read(after, size=2)) if after else walk


def asked(wanted: AuditQuery) -> Conditions:
    """What each line that is looked at must be besides; no texts when nothing is asked."""
    found = Conditions()
    for spans in wanted.spans:
        if len(spans) > 1:
            found = _with_any(found, map(_during, spans))
    for alternatives in wanted.criteria:
        if not _of_ids(alternatives):
            found = _with_any(found, (_CHECKS[name](value) for name, value in alternatives))
    return found


def _of_ids(alternatives: Iterable[tuple[str, str]]) -> bool:
    names = {name for name, _ in alternatives}
    return names == {"id"}


def _with_any(found: Conditions, parts: Iterable[Conditions]) -> Conditions:
    each = list(parts)
    text = " OR ".join(f"({one.text})" for one in each) or "1 = 0"
    return found.also(f"({text})", *(value for one in each for value in one.params))


def _during(span: Span) -> Conditions:
    low, high = span
    found = Conditions(("1 = 1",))
    if low is not None:
        found = found.also("recorded_us >= ?", low)
    return found if high is None else found.also("recorded_us <= ?", high)


def _same(column: str) -> Callable[[str], Conditions]:
    return lambda value: Conditions((f"{column} = ?",), (value,))


def _touched(value: str) -> Conditions:
    """A reference Type/id, or an id of any type. The entities are JSON text, so each one ends with a quote.

    replace() compares to the letter on both engines, which LIKE does not."""
    type_, slash, id_ = value.rpartition("/")
    held = "replace(entities, ?, '') <> entities"
    if slash:
        return Conditions((f"((type = ? AND id_of = ?) OR {held})",), (type_, id_, f'"{value}"'))
    return Conditions((f"(id_of = ? OR {held})",), (value, f'/{value}"'))


_CHECKS: Mapping[str, Callable[[str], Conditions]] = {
    **{name: _same(name) for name in ("id", "action", "outcome", "interaction", "operation")},
    "entity": _touched,
}
