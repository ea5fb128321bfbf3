"""The wall between organisations: every statement that a view or a unit of work runs says whose rows it wants."""

import re
from pathlib import Path

import pytest

import service.store
from service.store.mine import place_of_organization
from service.store.tables import metadata

ROOM = Path(service.store.__file__).parent
OWNED = {name for name, table in metadata.tables.items() if "organization" in table.columns}
# one look-up over all organisations each: by a secret's hash, by a row number, and what couriers and probes ask
ALLOWED = {
    "tokens.py": {"token", "client"},  # by a token's hash, and by a client's id
    "bulk_sqlite.py": {"resource"},  # the highest row number
    "bulk_postgresql.py": {"resource"},  # COPY names the organisation as a column
    "moment.py": {"resource", "former"},  # the highest row numbers
    "outbox.py": {"post"},  # a clock that went back, for the posts of all
    "routes.py": {"destination"},  # what is off, for an operator
    "deliveries.py": {"post"},  # the backlog of all, for an operator
    "view.py": {"exam"},  # the beginning of three statements, each of which goes on to ask for it
    "audit.py": {"audit"},  # its condition is put together beside it, and run through the view's one way
}


@pytest.mark.parametrize(
    ("sql", "place"),
    [
        ("SELECT 1 FROM exam WHERE organization = ? AND id = ?", 0),
        ("SELECT 1 FROM (SELECT row FROM mark WHERE key = ?) d WHERE r.organization = ?", 1),
        ("INSERT INTO exam (organization, id) VALUES (?, ?)", 0),
    ],
)
def test_the_organisation_is_put_where_the_statement_asks(sql: str, place: int) -> None:
    assert place_of_organization(sql) == place


@pytest.mark.parametrize("sql", ["SELECT 1 FROM exam WHERE id = ?", "INSERT INTO exam (id) VALUES (?)", ""])
def test_a_statement_without_it_is_never_run(sql: str) -> None:
    with pytest.raises(ValueError, match="organisation"):
        place_of_organization(sql)


def test_no_statement_of_the_room_forgets_it() -> None:
    forgotten = {
        (path.name, table)
        for path in ROOM.glob("*.py")
        for statement in _statements(path.read_text())
        for table in re.findall(r"(?:FROM|JOIN|UPDATE|INTO) (\w+)", statement)
        if table in OWNED and "organization" not in statement
    }
    assert {(name, table) for name, table in forgotten if table not in ALLOWED.get(name, set())} == set()


def _statements(source: str) -> list[str]:
    """Texts of the source that look like SQL, with neighbours joined as Python joins them."""
    joined = re.sub(r'"\s*\n\s*f?"', "", source)
    return [
        text for text in re.findall(r'"([^"\n]*)"', joined) if re.match(r"(SELECT|INSERT|UPDATE|DELETE|WITH) ", text)
    ]
