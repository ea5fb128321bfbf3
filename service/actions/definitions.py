"""What the service and its catalogue define, as resources that can be read and searched."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from hashlib import sha256
from typing import Any

from service.actions.code_facts import translated
from service.actions.own_codes import own_codes, vocabulary
from service.actions.ports import Caller, House
from service.actions.practices import catalogue_of
from service.basics.coding import Coding, Mapped
from service.basics.errors import Missing
from service.basics.version import VERSION
from service.billing.tariff import Price
from service.catalogue.catalogue import Catalogue
from service.catalogue.sent import sent
from service.fhir import operations, profiles, uris
from service.fhir.writing import conformance, terminology
from service.fhir.writing.protocol import plan_definition
from service.fhir.writing.tariff import charge_item_definition

Json = dict[str, Any]
_MAPS: Mapping[str, str] = {
    "sites": "Body sites of senders",
    "organs": "Organs that an order can name",
    "properties": "What senders measure and state",
    "words": "Values of senders",
    "planes": "Planes of senders",
    "order-codes": "Codes that order a service",
}


def definitions(house: House, caller: Caller, type_: str, *, versions: Iterable[str] = ()) -> Iterator[Json]:
    """Every definition of a type that the caller may see. versions: protocols as earlier catalogues had them, besides.

    A CapabilityStatement and the SearchParameters are not among them: they say what the face offers."""
    return _BY_TYPE[type_](house, caller, versions)


def _in_force(house: House, caller: Caller) -> Catalogue:
    """The catalogue as the caller's exams are opened with it: with the rows of its own."""
    with house.books.view(caller.organization) as view:
        return catalogue_of(house, view)


def _plans(house: House, caller: Caller, versions: Iterable[str]) -> Iterator[Json]:
    """The protocols in force, and those of the catalogues that are named and stored."""
    own = _in_force(house, caller)
    for catalogue in (own, *_earlier(house, set(versions) - {own.hash})):
        for protocol in catalogue.protocols.values():
            species = [Coding(*key) for key, name in catalogue.species.items() if name == protocol.species]
            yield plan_definition(protocol, version=catalogue.hash, species=species)


def _earlier(house: House, versions: Iterable[str]) -> Iterator[Catalogue]:
    for version in versions:
        try:
            yield house.catalogues.of(version)
        except Missing:
            continue


def _prices(catalogue: Catalogue, caller: Caller) -> list[Price]:
    """The caller's own price list: where it has a row for a code, the general ones do not hold."""
    own = [p for p in catalogue.prices if p.organization == caller.organization]
    codes = {p.code for p in own}
    return own + [p for p in catalogue.prices if p.organization == "*" and p.code not in codes]


def _charges(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    catalogue = _in_force(house, caller)
    return (charge_item_definition(one, version=catalogue.hash) for one in _prices(catalogue, caller))


def _code_systems(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    catalogue = _in_force(house, caller)
    for url, title, concepts in own_codes(catalogue, _prices(catalogue, caller)):
        yield terminology.code_system(url, title, translated(catalogue, url, concepts), version=catalogue.hash)


def _value_sets(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    """Of each code system all its codes; of each vocabulary its findings; the species."""
    catalogue = _in_force(house, caller)
    for url, title, _concepts in own_codes(catalogue, ()):
        yield terminology.value_set(url.rpartition("/")[2], title, version=catalogue.hash, system=url)
    for name in catalogue.vocabularies:
        codings = [Coding(uris.FINDING, one.code, one.display) for one in vocabulary(catalogue, name)]
        id_, title = f"finding-{name.replace('_', '-')}", f"Findings: {name.replace('_', ' ')}"
        yield terminology.value_set(id_, title, version=catalogue.hash, codings=codings)
    species = [Coding(*key) for key in catalogue.species]
    yield terminology.value_set("species", "Species that are surveyed", version=catalogue.hash, codings=species)


def _maps(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    """What senders' codes lead to: today's rows, which hold for open exams at once."""
    rows = sent(house.catalogues.current.files)
    for name, title in _MAPS.items():
        if rows[name]:
            yield terminology.concept_map(name, title, rows[name], version=_fingerprint(rows[name]))


def _fingerprint(rows: tuple[Mapped, ...]) -> str:
    return sha256(repr(rows).encode()).hexdigest()


def _structures(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    return profiles.structure_definitions()


def _operations(house: House, caller: Caller, _: Iterable[str]) -> Iterator[Json]:
    return (conformance.operation_definition(one, version=VERSION) for one in operations.ALL)


_BY_TYPE: Mapping[str, Callable[[House, Caller, Iterable[str]], Iterator[Json]]] = {
    "ChargeItemDefinition": _charges,
    "CodeSystem": _code_systems,
    "ConceptMap": _maps,
    "OperationDefinition": _operations,
    "PlanDefinition": _plans,
    "StructureDefinition": _structures,
    "ValueSet": _value_sets,
}
