"""The resources of one organisation, turned again into everything that is derived from them."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from service.basics.stored import Exam, Keys, Record, StepKey
from service.store import bulk_postgresql, bulk_sqlite
from service.store.changes import MarkChanges, mark_changes
from service.store.rows import COLUMNS, stored
from service.store.session import Pool, Session
from service.store.work import SqlWork

Resource = dict[str, Any]

_PART = 500
_LIVE = f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND row > ? AND NOT deleted ORDER BY row LIMIT ?"
_PRESENT = "UPDATE resource SET present = ? WHERE organization = ? AND row = ? AND present <> ?"
_ROWS_OF = "row IN (SELECT row FROM resource WHERE organization = ?)"
# a claim of a resource that is gone holds its identity for nobody
_STRAY = (
    "DELETE FROM claim WHERE organization = ? AND NOT EXISTS (SELECT 1 FROM resource r"
    " WHERE r.organization = claim.organization AND r.type = claim.type AND r.id = claim.id AND NOT r.deleted)"
)
_COUNT_FROM = (
    "INSERT INTO counter (organization, series, value) VALUES (?, ?, ?) ON CONFLICT (organization, series)"
    " DO UPDATE SET value = CASE WHEN excluded.value > counter.value THEN excluded.value ELSE counter.value END"
)


@dataclass(frozen=True, slots=True)
class Derivations:
    """How projections follow from resources; the doors hand in what other rooms know.

    decode: bytes -> resource; keys: (organisation, resource) -> search keys; claims: resource -> criteria it holds;
    number: resource -> (year, number) of an issued invoice, or None; exams: the open work -> exam and step rows."""

    decode: Callable[[bytes], Resource]
    keys: Callable[[str, Resource], Keys]
    claims: Callable[[Resource], Iterable[str]]
    number: Callable[[Resource], tuple[int, int] | None]
    exams: Callable[[SqlWork], tuple[Iterable[Exam], Iterable[StepKey]]]


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What was derived; `contested` lists (type, criteria, holder, other) where two resources claim one identity."""

    resources: int
    exams: int
    steps: int
    contested: tuple[tuple[str, str, str, str], ...]


def rebuild(pool: Pool, organization: str, *, derive: Derivations) -> Rebuilt:
    """Derive search keys, claims, exam and step rows and invoice counters again, in one transaction."""
    with pool.writing() as session:
        work = SqlWork(session, organization, now=datetime.now(UTC))
        _forget(session, organization)
        resources, contested = 0, []
        for part in _parts(session, organization):
            resources += len(part)
            decoded = [(row, version, derive.decode(version.body)) for row, version in part]
            records = [(row, Record(new=v, keys=derive.keys(organization, r))) for row, v, r in decoded]
            _write_marks(session, mark_changes(records))
            session.many(_PRESENT, [(r.keys.present, organization, row, r.keys.present) for row, r in records])
            contested += _claims(work, [r for _, _, r in decoded], derive.claims)
            _numbers(session, organization, filter(None, (derive.number(r) for _, _, r in decoded)))
        exams, steps = _exams(work, derive)
        if session.postgres:
            session.run("ANALYZE")
    return Rebuilt(resources=resources, exams=exams, steps=steps, contested=tuple(contested))


def _exams(work: SqlWork, derive: Derivations) -> tuple[int, int]:
    derived, parts = derive.exams(work)
    exams, steps = list(derived), list(parts)
    for exam in exams:
        work.save_exam(exam)
    work.save_steps(steps)
    return len(exams), len(steps)


def _forget(session: Session, organization: str) -> None:
    for table in ("mark", "text_mark"):
        session.run(f"DELETE FROM {table} WHERE {_ROWS_OF}", organization)
    for table in ("exam", "step"):
        session.run(f"DELETE FROM {table} WHERE organization = ?", organization)
    session.run(_STRAY, organization)


def _parts(session: Session, organization: str) -> Iterator[list[tuple[int, Any]]]:
    last = 0
    while rows := session.rows(_LIVE, organization, last, _PART):
        last = rows[-1][7]
        yield [(row[7], stored(row)) for row in rows]


def _write_marks(session: Session, changes: MarkChanges) -> None:
    (bulk_postgresql if session.postgres else bulk_sqlite).write_marks(session, changes)


def _claims(
    work: SqlWork, resources: Iterable[Resource], criteria_of: Callable[[Resource], Iterable[str]]
) -> list[tuple[str, str, str, str]]:
    contested = []
    for resource in resources:
        type_, id_ = resource["resourceType"], resource["id"]
        for criteria in criteria_of(resource):
            holder = work.claim(type_, criteria, id_)
            if holder not in (None, id_):
                contested.append((type_, criteria, str(holder), id_))
    return contested


def _numbers(session: Session, organization: str, numbers: Iterable[tuple[int, int]]) -> None:
    session.many(_COUNT_FROM, ((organization, f"invoice {year}", number) for year, number in numbers))
