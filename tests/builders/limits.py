"""The shipped limits with rows or choices changed, and an animal about which everything is known."""

import csv
import io
from dataclasses import replace
from decimal import Decimal
from functools import cache
from typing import Any

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.circumstances import Circumstances
from service.exam.verdict import Verdict, judge

KNOWN = Circumstances(
    species="dog",
    sex="male",
    neutered=True,
    age_days=3000,
    age_months=98,
    weight_kg=Decimal(12),
    weight_at="2026-11-20",
    weight_days=1,
    ideal_weight_kg=Decimal(12),
    fasted=True,
    sedated=False,
    fill="moderate",
    recumbency="left-lateral",
)


@cache
def shipped() -> Catalogue:
    """The catalogue of the shipped rows."""
    return load(read_folder())


@cache
def with_rows(*rows: tuple[str, str, str], table: str = "") -> Catalogue:
    """The shipped catalogue with cells of limits.csv changed, (row, column, text) each, or another adrenal table."""
    files = read_folder()
    read = list(csv.DictReader(io.StringIO(files["limits.csv"])))
    for name, column, text in rows:
        next(r for r in read if r["limit"] == name)[column] = text
    out = io.StringIO()
    writer = csv.DictWriter(out, list(read[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(read)
    files["limits.csv"] = out.getvalue()
    if table:
        files["limit-choices.csv"] = f"choice,table\nadrenal-dog,{table}\n"
    return load(files)


def verdict(
    structure: str,
    measure: str,
    value: str,
    unit: str = "mm",
    *,
    rules: Catalogue | None = None,
    plane: str = "long",
    site: str = "",
    **known: Any,
) -> Verdict:
    """The verdict on a value for an animal about which everything is known, but for what is said here."""
    circumstances = replace(KNOWN, **known)
    return judge(
        structure,
        measure,
        Decimal(value),
        unit,
        circumstances=circumstances,
        rules=rules or shipped(),
        plane=plane,
        site=site,
    )
