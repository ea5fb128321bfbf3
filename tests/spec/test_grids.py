"""Every drawn grid holds: each row is played and each cell compared with what the core says."""

import pytest

from tests.spec.grid import Play, Table, surveyed, tables

TABLES = [t for t in tables() if t.header[0] != "animal"]
ANIMALS = [t for t in tables() if t.header[0] == "animal"]


def test_there_are_grids() -> None:
    assert len(TABLES) >= 15
    assert sum(len(t.rows) for t in TABLES) >= 90


@pytest.mark.parametrize("table", TABLES, ids=lambda t: f"{t.file}: {t.title}")
def test_grid(table: Table) -> None:
    play = Play(table)
    drawn, shown = [], []
    for said, *cells in table.rows:
        refused = play.do(said)
        drawn.append([said, *cells])
        shown.append([said, *(_shown(play, table, column, cell, refused) for column, cell in _pairs(table, cells))])
    assert shown == drawn


@pytest.mark.parametrize("table", ANIMALS, ids=lambda t: f"{t.file}: {t.title}")
def test_steps_of_an_animal(table: Table) -> None:
    shown = [[said, *(surveyed(said).get(code, "-") for code in table.header[1:])] for said, *_ in table.rows]
    assert shown == table.rows


def _pairs(table: Table, cells: list[str]) -> list[tuple[str, str]]:
    assert len(cells) == len(table.header) - 1
    return list(zip(table.header[1:], cells, strict=True))


def _shown(play: Play, table: Table, column: str, cell: str, refused: str) -> str:
    if column == "refused":
        return cell if (cell in refused if cell else not refused) else refused or "(taken)"
    if column in play.steps:
        return " ".join(play.state(column))
    return play.cell(column, table.steps[0])
