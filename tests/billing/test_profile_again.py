"""`organization add` of a practice that is there already sets its billing profile anew."""

import json
from pathlib import Path

import pytest
import typer

from service.commands import organization
from service.store import SqlBooks
from tests.builders.instances import BILLING
from tests.builders.survey import mappings


def test_adding_a_practice_again_with_a_billing_file_changes_its_profile(
    books: SqlBooks, slug: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    row, file = mappings().practices["*"], tmp_path / "billing.json"
    for name in ("Invented Practice", "Invented Practice Ltd"):
        file.write_text(json.dumps({**BILLING, "legalName": name}))
        assert organization.add(books, slug, kind="practice", billing=file, row=row) == slug
        with books.view(slug) as view:
            assert json.loads(view.practice_text())["legalName"] == name
    assert organization.add(books, slug, kind="practice", billing=None, row=row) == slug  # without a file it stays
    with books.view(slug) as view:
        assert json.loads(view.practice_text())["legalName"] == "Invented Practice Ltd"
    with pytest.raises(typer.Exit):
        organization.add(books, slug, kind="clinic", billing=None, row=row)
    assert "exists already, as a practice" in capsys.readouterr().err
