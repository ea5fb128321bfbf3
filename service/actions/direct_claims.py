"""The invoices of an exam that are direct claims at an insurer into what each still lacks."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions.estimates import PAPERS, named_on
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.ports import House, View
from service.basics.stored import Exam
from service.billing.claim import Claim, Vet, incomplete
from service.billing.exceptions import Found
from service.fhir import uris
from service.fhir.reading.claim import HISTORY, cover_of, credited, treating, writers
from service.fhir.reading.names import name_of

Json = dict[str, Any]
UNPAID = "issued"


def lacking(
    house: House, view: View, exam: Exam, task: Json, *, waiting: Sequence[str] = (), more: Iterable[Json] = ()
) -> list[Found]:
    """An exception for each claim that lacks something; of one that is paid, or credited in full, nobody asks.

    waiting: names of the exam's charges on no invoice; more: invoices that are about to be written."""
    papers = [*named_on(view, task, *PAPERS), *more]
    open_ = [one for one in papers if cover_of(one) and not credited(one) and one.get("status") == UNPAID]
    claims = [one for one in open_ if _left(one, papers)]
    if not claims:
        return []
    papers_known = all_of(house, view, "Invoice", subject=f"Patient/{exam.animal}")
    histories = _histories(house, view, exam.animal)
    vets = tuple(_vets(view, exam))
    found = (
        incomplete(
            Claim(
                invoice=str(one["id"]),
                number=str(one["identifier"][0]["value"]),
                insurer=str(one["recipient"].get("display") or one["recipient"]["reference"]),
                first=not any(_before(other, one) for other in papers_known),
                histories=histories,
                vets=vets,
                waiting=tuple(waiting),
            )
        )
        for one in claims
    )
    return [one for one in found if one is not None]


def _left(claim: Json, papers: Iterable[Json]) -> bool:
    taken = [one for one in papers if credited(one) == f"Invoice/{claim['id']}"]
    return bool(sum(one["totalGross"]["value"] for one in (claim, *taken)))


def _before(other: Json, claim: Json) -> bool:
    """Whether another claim under the same cover came earlier: ids rise with time."""
    return cover_of(other) == cover_of(claim) and not credited(other) and str(other["id"]) < str(claim["id"])


def _histories(house: House, view: View, animal: str) -> frozenset[str]:
    coded = f"{uris.CLAIM_DOCUMENT}|{HISTORY}"
    return writers(
        all_of(house, view, "DocumentReference", patient=f"Patient/{animal}", type=coded, status="current")
    )  # fmt: skip


def _vets(view: View, exam: Exam) -> Iterable[Vet]:
    lookup = Lookup(view)
    patient, request = lookup.find(f"Patient/{exam.animal}") or {}, lookup.find(f"ServiceRequest/{exam.order}") or {}
    for one in treating(patient, request):
        reference = str(one["reference"])
        found = lookup.find(reference) or {}
        behind = [str(found.get(name, {}).get("reference", "")) for name in ("practitioner", "organization")]
        names = (name_of(lookup.find(part) or {}) for part in (reference, *behind) if part)
        name = str(one.get("display", "")) or next(filter(None, names), reference)
        yield Vet(name, frozenset({reference, *filter(None, behind)}))
