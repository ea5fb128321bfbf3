"""A focal lesion into the BodyStructure that is its identity across exams."""

from typing import Any

from service.fhir import uris

Json = dict[str, Any]


def body_structure(id_: str, number: int, *, animal: str, site: Json, title: str) -> Json:
    """The BodyStructure of a lesion. site: the bodySite of its first record; title: words for the structure."""
    return {
        "resourceType": "BodyStructure",
        "id": id_,
        "identifier": [
            {"system": uris.ID, "value": id_},
            {"system": uris.LESION, "value": f"{animal}.{number}"},
        ],
        "active": True,
        "location": {k: site[k] for k in ("coding", "text") if k in site} or {"text": title},
        "description": f"Focal lesion {number}: {title}",
        "patient": {"reference": f"Patient/{animal}"},
    }


def lesion_number(resource: Json, animal: str) -> int:
    """The number of a lesion's BodyStructure; 0 for any other, and for another animal's."""
    values = [str(i.get("value", "")) for i in resource.get("identifier", []) if i.get("system") == uris.LESION]
    mine = [v.rpartition(".")[2] for v in values if v.rpartition(".")[0] == animal]
    return int(mine[0]) if mine and mine[0].isdecimal() else 0
