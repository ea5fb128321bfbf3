"""The keys of what changed, laid over those of the former version, are those of the new one: for any two versions."""

import os
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from service.fhir import exact, search
from tests.builders import r4_cases

Json = dict[str, Any]
FOLDER = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
OWN = "quillfold"


def same(before: Json, after: Json) -> None:
    """What a store does with the difference, against the keys of the whole."""
    old, new = search.changed(OWN, exact.encode(before), exact.encode(after))
    was, now = search.keys(OWN, before), search.keys(OWN, after)
    assert (was.marks - (old.marks - new.marks)) | (new.marks - old.marks) == now.marks
    assert (was.texts - (old.texts - new.texts)) | (new.texts - old.texts) == now.texts
    assert was.present & ~new.covers | new.present == now.present


def without_each(resource: Json) -> Iterator[Json]:
    """Copies that lack one element each."""
    for name in resource.keys() - {"resourceType", "id"}:
        yield {key: value for key, value in resource.items() if key != name}


@pytest.mark.parametrize("resource", [r4_cases.OBSERVATION, r4_cases.NOT_SEEN, r4_cases.PATIENT, r4_cases.TASK])
def test_an_element_more_or_less(resource: Json) -> None:
    for less in without_each({**resource, "id": "a"}):
        same({**resource, "id": "a"}, less)
        same(less, {**resource, "id": "a"})


def test_only_what_changed_is_read_again() -> None:
    before = {**r4_cases.OBSERVATION, "id": "a", "status": "preliminary"}
    old, new = search.changed(OWN, exact.encode(before), exact.encode({**before, "status": "final"}))
    whole = search.keys(OWN, before)
    assert len(old.marks) < len(whole.marks) / 2
    assert old.marks != new.marks
    assert new.covers != -1


def test_a_reference_that_moves_between_elements_is_kept() -> None:
    """One to a directory that is in two elements no parameter covers, and leaves one of them."""
    person = {"reference": "Practitioner/p"}
    note = {"text": "seen", "authorReference": person}
    both = {**r4_cases.OBSERVATION, "id": "a", "note": [note], "extension": [{"url": "u", "valueReference": person}]}
    for name in ("note", "extension"):
        same(both, {key: value for key, value in both.items() if key != name})


@pytest.mark.skipif(not FOLDER.is_dir(), reason="HL7's R4 examples are not here: set HL7_EXAMPLES to their folder")
def test_any_two_examples_of_a_type_as_versions() -> None:
    """HL7's own examples (hl7.org/fhir/R4, CC0): each loses every element in turn, and becomes the next of its type."""
    by_type: dict[str, list[Json]] = defaultdict(list)
    for file in sorted(FOLDER.glob("*.json")):
        resource = exact.decode(file.read_bytes())
        if resource.get("resourceType") in search.rows():
            by_type[resource["resourceType"]].append({**resource, "id": "a"})
    assert len(by_type) > 20
    for found in by_type.values():
        for one in found[:12]:
            for less in without_each(one):
                same(one, less)
        for one, other in pairwise(found):
            same(one, other)
