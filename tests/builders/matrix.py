"""The role table against the table of offers: every way to ask, and whether a role may, reckoned from rows alone."""

from collections.abc import Iterator
from dataclasses import dataclass

from service.access.roles import ROLES
from service.api.offers import PLACES, Offer
from service.api.types import READ_ONLY, SERVED
from service.fhir.types import STORABLE

WITHIN = "Patient"


@dataclass(frozen=True)
class Way:
    """One method on one path, for one type."""

    method: str
    path: str
    type: str
    offer: Offer

    @property
    def body(self) -> str:
        """What is posted, whole enough to be looked at once the way is open."""
        if self.offer.body == "form":
            return "_count=1"
        if self.offer.body == "bundle":
            return '{"resourceType": "Bundle", "type": "batch"}'
        if self.offer.body == "patch":
            return "[]"
        return f'{{"resourceType": "{self.type or "Patient"}"}}' if self.offer.body else ""

    @property
    def media(self) -> str:
        """Its type."""
        kinds = {"form": "application/x-www-form-urlencoded", "patch": "application/json-patch+json"}
        return kinds.get(self.offer.body, "application/fhir+json")


def ways() -> Iterator[Way]:
    """Every offer on every type that has it."""
    for template, offers in PLACES.items():
        for method, offer in offers.items():
            for type_ in SERVED if "{type}" in template else ("",):
                if offer.on(type_) and not (type_ == "AuditEvent" and "{within}" in template):
                    path = template.replace("{within}", WITHIN).replace("{type}", type_)
                    yield Way(method, f"/fhir{path.replace('{id}', 'none').replace('{version}', '1')}", type_, offer)


def may(role: str, way: Way) -> bool:
    """Whether a role with every scope there is may go this way, by its row."""
    row, offer = ROLES[role], way.offer
    letters = row.grants.get(way.type, "")
    if offer.code == "capabilities":
        return True
    if offer.code == "transaction":
        return "bundles" in row.service
    if offer.code == "search-system":  # of all types there are but the audit's
        return all("s" in row.grants.get(type_, "") for type_ in STORABLE - {"AuditEvent"})
    if not way.type:
        return False
    if offer.operation and offer.operation not in row.operations:
        return False
    if offer.operation and offer.writes and offer.only:
        return not row.narrow
    if not offer.letter:
        return bool(letters)
    if offer.writes and row.narrow:
        return False
    if way.type in row.narrow and (offer.code == "history-type" or way.type in READ_ONLY):
        return False
    return offer.letter in letters
