"""The code system of findings tells the grade of each word, what it asks for, and what it is called elsewhere."""

from service.actions.code_facts import translated
from service.actions.own_codes import own_codes
from service.fhir import uris, validate
from service.fhir.writing import terminology
from tests.builders.survey import Json, mappings


def system(url: str) -> Json:
    """A code system as it is served."""
    rows = mappings()
    title, concepts = next((t, c) for u, t, c in own_codes(rows, ()) if u == url)
    return terminology.code_system(url, title, translated(rows, url, concepts), version=rows.hash)


def concept(served: Json, code: str) -> Json:
    """One concept of it."""
    return next(c for c in served["concept"] if c["code"] == code)


def facts(served: Json, code: str) -> dict[str, object]:
    """The properties of a concept by name."""
    told = concept(served, code).get("property", [])
    return {p["code"]: next(v for k, v in p.items() if k.startswith("value")) for p in told}


def test_findings_tell_grade_default_and_what_they_ask_for() -> None:
    served = system(uris.FINDING)
    assert validate.check(served) == []
    assert facts(served, "spleen.size.normal") == {"grade": 0, "expected": True}
    assert facts(served, "lymph_node.size.enlarged") == {"grade": 2, "expected": False, "measures": "thickness length"}
    assert facts(served, "liver.focal-lesions.few")["lesions"] == 2
    assert "grade" not in facts(served, "urinary_bladder.fill.empty")
    assert str(facts(served, "liver.echogenicity.expected")["compared-with"]).startswith("dog: darker than the spleen")
    declared = {p["code"] for p in served["property"]}
    assert {name for c in served["concept"] for name in facts(served, c["code"])} == declared


def test_words_in_another_language_stand_beside_the_code() -> None:
    served = system(uris.STRUCTURE)
    assert validate.check(served) == []
    told = [c for top in served["concept"] for c in (top, *top.get("concept", []))]
    spleen = next(c for c in told if c["code"] == "spleen")
    assert spleen["display"] == "Spleen"
    assert spleen["designation"] == [{"language": "de", "value": "Milz"}]
