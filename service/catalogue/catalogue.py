"""The catalogue: all rows of mappings/ as frozen, checked values, named by the hash of their text."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from service.basics.money import Currency
from service.billing.exceptions import ExceptionRule
from service.billing.practice import Practice
from service.billing.tariff import Price
from service.billing.triggers import Trigger
from service.exam.formulas import Computation, Formula
from service.exam.limits import Disagreement, Limit, Limits, Table
from service.exam.rules import Attribute, MeasureRule, Operation, Prompt, Protocol, Reason, Service, Structure
from service.exam.trend import Repeatability
from service.exam.urgent import Tier, UrgentRule

Key = tuple[str, str]  # (system URI, code)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: where it is shown and its words."""

    id: str
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything a vet, a biller or an integrator could have an opinion about.

    `hash` covers what an exam is judged by (not the sender mappings `sites`, `properties`, `words`, `planes`)."""

    hash: str
    files: Mapping[str, str]  # relative path -> text, as read
    systems: Mapping[str, str]  # short name -> URI
    species: Mapping[Key, str]  # code -> dog | cat
    structures: Mapping[str, Structure]
    protocols: Mapping[str, Protocol]  # by species
    vocabularies: Mapping[str, tuple[Attribute, ...]]  # by Structure.vocabulary
    measures: Mapping[tuple[str, str, str], MeasureRule]  # (species, structure, measure key)
    reasons: Mapping[str, Reason]
    services: Mapping[str, Service]
    orders: Mapping[Key, str]  # order code -> service key
    organs: Mapping[
        tuple[str, str, str], tuple[str, ...]
    ]  # (system, code, laterality or "") named by an order -> structures
    sites: Mapping[tuple[str, str, str], str]  # (system, code, laterality or "") -> structure; "" when ambiguous
    lateralities: Mapping[Key, str]  # code -> left | right | both
    properties: Mapping[Key, tuple[str, ...]]  # code -> "measure:<key>" or "attribute:<key>" or "note:sedation" ...
    words: Mapping[Key, tuple[str, str, str]]  # code -> (vocabulary, attribute, value)
    planes: Mapping[Key, str]  # code -> long | short | multi
    plane_codings: Mapping[str, tuple[str, str, str]]  # plane -> (system, code, display)
    prices: tuple[Price, ...]
    practices: Mapping[str, Practice]
    currencies: Mapping[str, Currency]
    cautions: tuple[Caution, ...]
    sections: tuple[tuple[str, str], ...]  # report sections in order: (key, title)
    clauses: Mapping[tuple[str, str, str], str]  # (vocabulary or "*", attribute, value) -> a clause of the report
    phrases: Mapping[str, str]  # sentences of the report by key
    plurals: frozenset[str]  # structures that are spoken of as several
    unique_identifiers: frozenset[Key]  # (resource type, v2-0203 type code) kinds that belong to one resource
    triggers: tuple[Trigger, ...] = ()  # what an exam can show that is charged
    units: Mapping[tuple[str, str], Decimal] = field(default_factory=dict)  # (unit, unit sent) -> factor to the unit
    # (system, code, laterality or "") -> what an operation on the animal's record has taken
    operations: Mapping[tuple[str, str, str], Operation] = field(default_factory=dict)
    prompts: tuple[Prompt, ...] = ()  # what to think of
    # (system URI, code) -> (language, words): what a code of ours is called in other languages
    translations: Mapping[Key, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    limits: Limits = field(default_factory=dict)  # (species, structure, measure) -> rows, those shown only among them
    limit_rows: Mapping[str, Limit] = field(default_factory=dict)  # by name
    tables: tuple[Table, ...] = ()  # of limits, of which one is chosen
    places: Mapping[str, str] = field(default_factory=dict)  # where in a structure: code -> words
    disagreements: tuple[Disagreement, ...] = ()
    judging: Mapping[str, int] = field(default_factory=dict)  # numbers such as weight-days
    breeds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # names by species
    urgent: Mapping[str, UrgentRule] = field(default_factory=dict)  # what must be told at once, by code
    tiers: Mapping[int, Tier] = field(default_factory=dict)  # how soon
    urgent_items: frozenset[tuple[str, str]] = frozenset()  # (structure, item) that can suggest it
    formulas: Mapping[str, Formula] = field(default_factory=dict)
    computations: Mapping[str, tuple[Computation, ...]] = field(default_factory=dict)  # by species, in their order
    finding_readings: Mapping[tuple[str, str, str], tuple[str, Decimal]] = field(
        default_factory=dict
    )  # (structure, attribute, value) -> (measure, what it reads)
    repeatability: Mapping[tuple[str, str, str], Repeatability] = field(
        default_factory=dict
    )  # (species, structure or "", measure)
    exceptions: Mapping[str, ExceptionRule] = field(default_factory=dict)  # what a bookkeeper must look at, by kind
    invoice_words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # language -> phrase -> words
