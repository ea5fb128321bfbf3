"""HL7's examples searched through the store, compared with R4's own FHIRPath expressions evaluated by fhirpathpy."""

import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any
from unicodedata import combining, normalize

import fhirpathpy
import pytest
from fhirpathpy.models import models
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.basics.stored import Record, Stored
from service.fhir import exact, moments, search
from service.fhir.types import STORABLE
from service.store import SqlBooks, open_books

EXAMPLES = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
FOLDER = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")
pytestmark = pytest.mark.skipif(
    not (EXAMPLES.is_dir() and FOLDER.is_dir()) and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 examples and definitions are not here: set HL7_EXAMPLES and R4_DEFINITIONS to their folders",
)

ORG, BASE = "oracle", "https://sono.example/fhir"
KINDS = ("token", "reference", "date", "string", "uri", "quantity", "number")
# as takes one element only; of several it is ofType that picks
_CAST = re.compile(r"\(([\w.]+) as (\w+)\)|([\w.]+)\.as\((\w+)\)")
_RESOLVED = re.compile(r"([\w.]+)\.where\(resolve\(\) is (\w+)\)")


@dataclass(frozen=True)
class Asked:
    """One search: a type, a parameter, a value, and the ids that R4's expression says it finds."""

    type: str
    code: str
    value: str
    ids: frozenset[str]


@cache
def resources() -> dict[str, dict[str, Any]]:
    found = {}
    for path in sorted(EXAMPLES.glob("*.json")):
        value = exact.decode(path.read_bytes())
        if value["resourceType"] in STORABLE - {"AuditEvent"}:
            found[f"{value['resourceType']}/{path.stem}"[:64]] = value | {"id": path.stem[:64]}
    return found


@cache
def expressions() -> dict[tuple[str, str], tuple[str, str]]:
    """(type, parameter) -> (kind, expression), of those that both HL7 and we have."""
    found = {}
    for line in (FOLDER / "search-parameters.ndjson").read_text(encoding="utf-8").splitlines():
        one = json.loads(line)
        for type_ in one.get("base", ()):
            offered = {url for _, _, url in search.parameters(type_)} if type_ in STORABLE else set()
            if one["type"] in KINDS and one["url"] in offered and one.get("expression"):
                parts = [p.strip() for p in one["expression"].split("|")]
                own = [p for p in parts if re.match(rf"\(?{type_}\b", p)]
                found[type_, one["code"]] = (one["type"], " | ".join(own))
    return {key: pair for key, pair in found.items() if pair[1]}


def values(type_: str, code: str, resource: dict[str, Any]) -> list[Any]:
    """What the expression reads. fhirpathpy can't resolve: the type is taken from the reference's own text."""
    expression = _CAST.sub(lambda m: f"{m[1] or m[3]}.ofType({m[2] or m[4]})", expressions()[type_, code][1])
    target = _RESOLVED.search(expression)
    found = fhirpathpy.evaluate(resource, _RESOLVED.sub(r"\1", expression), model=models["r4"])
    if target:
        found = [v for v in found if isinstance(v, dict) and f"{target[2]}/" in v.get("reference", "")]
    return list(found)


CONTACTS = frozenset({"phone", "fax", "email", "pager", "url", "sms", "other"})
PARTS = ("text", "family", "given", "prefix", "suffix", "line", "city", "district", "state", "postalCode", "country")


def codes(value: Any) -> set[tuple[str | None, str]]:
    """(system, code) pairs of a token; None where its kind has no system."""
    if not isinstance(value, dict):
        return {(None, str(value).lower())}
    pairs = {(c.get("system", ""), c["code"].lower()) for c in value.get("coding", [value]) if "code" in c}
    if pairs or "value" not in value:
        return pairs
    return {(None if value.get("system") in CONTACTS else value.get("system", ""), value["value"])}


def words(value: Any) -> list[str]:
    if not isinstance(value, dict):
        return [str(value)]
    several = ([value[n]] if isinstance(value.get(n), str) else value.get(n, ()) for n in PARTS)
    return [word for part in several for word in part if word]


def plain(text: str) -> str:
    return " ".join("".join(c for c in normalize("NFKD", text) if not combining(c)).casefold().split())


def fits(kind: str, value: Any, wanted: str) -> bool:
    """R4's rules for eq, in the plainest words."""
    if kind == "token":
        system, bar, code = wanted.rpartition("|")
        return any((not bar or s in (None, system)) and c in (code, code.lower()) for s, c in codes(value))
    if kind == "reference":
        return isinstance(value, dict) and value.get("reference", "").partition("/_history")[0] == wanted
    if kind == "uri":
        return bool(value == wanted)
    if kind == "string":
        return any(plain(w).startswith(plain(wanted)) for w in words(value))
    if kind == "date":
        own, asked = moments.of(value), moments.of_text(wanted)
        return own is not None and asked is not None and asked[0] <= own[0] and own[1] <= asked[1]
    number = value.get("value") if isinstance(value, dict) else value
    if number is None:
        return False
    half = Decimal(1).scaleb(int(Decimal(wanted).as_tuple().exponent)) / 2
    return Decimal(wanted) - half <= Decimal(number) < Decimal(wanted) + half


def spelt(kind: str, value: Any) -> list[str]:
    """Searches that should find the value."""
    if kind == "token":
        return [c for _, c in codes(value)] + [f"{s}|{c}" for s, c in codes(value) if s]
    if kind == "reference":
        return [value["reference"].partition("/_history")[0]] if "reference" in value else []
    if kind == "string":
        return [w[:5] for w in words(value)]
    if kind in ("uri", "date"):
        return [value, value[: 7 if kind == "date" else None]] if isinstance(value, str) else []
    number = value.get("value") if isinstance(value, dict) else value
    longest = 15  # digits of a number that may be asked for
    return [str(number)] if number is not None and len(Decimal(number).as_tuple().digits) <= longest else []


@cache
def searches() -> tuple[Asked, ...]:
    """Every value that stands in an example, asked for by every parameter that reads it."""
    found = []
    for (type_, code), (kind, _) in sorted(expressions().items()):
        own = {r["id"]: values(type_, code, r) for r in resources().values() if r["resourceType"] == type_}
        asked = sorted({w for several in own.values() for v in several for w in spelt(kind, v) if w and "\\" not in w})
        for wanted in asked:
            if kind == "reference" and not re.fullmatch(r"[A-Z]\w+/[\w.-]+|\w+:.*", wanted):
                continue
            ids = frozenset(id_ for id_, several in own.items() if any(fits(kind, v, wanted) for v in several))
            escaped = wanted.replace(",", "\\,").replace("$", "\\$")
            found.append(Asked(type_, code, escaped if kind == "token" else escaped.replace("|", "\\|"), ids))
    return tuple(found)


@pytest.fixture(scope="module")
def filled(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """All examples in one organisation."""
    opened = open_books(database_url(engine))
    records = []
    for value in resources().values():
        stored = Stored(value["resourceType"], value["id"], 1, "2026-11-25T13:00:00.000Z", exact.encode(value))
        records.append(Record(stored, search.keys(ORG, value)))
    with opened.begin(ORG) as work:
        work.put(records)
    yield opened
    opened.close()


def found_by(books: SqlBooks, type_: str, *params: tuple[str, str]) -> frozenset[str]:
    query = search.parse(ORG, type_, [*params, ("_count", "500")], strict=True, base=BASE)
    with books.view(ORG) as view:
        return frozenset(one.id for one in view.search(query).matches)


def test_every_value_of_every_example_is_found_exactly_where_r4_says(filled: SqlBooks) -> None:
    assert len(searches()) > 500
    wrong = []
    for one in searches():
        found = found_by(filled, one.type, (one.code, one.value))
        if found != one.ids:
            wrong.append((one.type, one.code, one.value, sorted(found ^ one.ids)))
    assert wrong == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_searches_together_are_their_intersection_and_their_union(filled: SqlBooks, data: st.DataObject) -> None:
    type_ = data.draw(st.sampled_from(sorted({one.type for one in searches()})))
    of_type = [one for one in searches() if one.type == type_]
    picked = data.draw(st.lists(st.sampled_from(of_type), min_size=1, max_size=3))
    both = frozenset.intersection(*(one.ids for one in picked))
    assert found_by(filled, type_, *((one.code, one.value) for one in picked)) == both
    same = [one for one in of_type if one.code == picked[0].code][:4]
    either = frozenset.union(*(one.ids for one in same))
    assert found_by(filled, type_, (picked[0].code, ",".join(one.value for one in same))) == either
