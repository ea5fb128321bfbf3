"""The catalogue, and the words of this service itself, into the concepts of our own code systems."""

from collections.abc import Iterable, Iterator, Mapping

from service.actions.amend_report import KINDS
from service.actions.code_facts import value_facts
from service.basics.coding import Concept
from service.billing.situation import GRADES
from service.billing.tariff import Price
from service.catalogue.catalogue import Catalogue
from service.exam import asking
from service.exam.limit_words import spoken
from service.exam.limits import Limit
from service.exam.owed import PLANES
from service.exam.urgent_state import FINDING_STATES, MESSAGE_STATES, METHODS
from service.fhir import operations, uris
from service.fhir.reading.claim import CODES as CLAIMED
from service.fhir.writing.billing_exception import TASKS as EXCEPTION
from service.fhir.writing.estimate import CODES as ESTIMATES
from service.fhir.writing.invoice import KINDS as INVOICES
from service.fhir.writing.invoice_line import CATEGORIES
from service.fhir.writing.message import EVENTS
from service.fhir.writing.observation import NOTES, SAID
from service.fhir.writing.referral import CODES as REFERRED
from service.fhir.writing.referral import STATES as REFERRALS
from service.fhir.writing.referral import TASKS as REFERRING
from service.fhir.writing.task import STATES
from service.fhir.writing.urgent import TASKS

Concepts = tuple[Concept, ...]
_NOTES: Mapping[str, str] = {
    "doppler": "Doppler used",
    "fasting": "Fasting state",
    "sedation": "Sedation given",
    "weight": "Body weight at the exam",
    "ideal-weight": "Ideal body weight",
    "recumbency": "Recumbency during the examination",
    "probe": "Probe used",
    "heat": "Signs of heat",
    "stability": "Whether the animal is stable",
    "azotaemia": "Whether the animal is azotaemic",
    "sample": "Needle sample taken under ultrasound, of one site",
    "cystocentesis": "Urine taken by needle under ultrasound",
    "drainage": "Fluid drained under ultrasound",
    "clipping": "Hair clipped",
    "image-export": "Copies of the images handed over",
    "call-out": "The sonographer came to the practice",
}


def own_codes(catalogue: Catalogue, prices: Iterable[Price]) -> Iterator[tuple[str, str, Concepts]]:
    """(URL, title, concepts) of every code system of ours. prices: those that the caller may see."""
    yield uris.STRUCTURE, "Structures and organs", _structures(catalogue)
    yield uris.STEP, "Steps of the survey", _steps(catalogue)
    yield uris.STATE, "States of a step", _named(STATES)
    yield uris.DISPOSITION, "How a step ended", _named(SAID)
    yield uris.REASON, "Reasons for not seeing", _named({r.code: r.display for r in catalogue.reasons.values()})
    yield uris.ATTRIBUTE, "Attributes of a finding", _attributes(catalogue)
    yield uris.FINDING, "Findings", _findings(catalogue)
    yield uris.MEASURE, "Measurements", _named({m.key: m.title for m in catalogue.measures.values()})
    yield uris.PLACE, "Places of measuring", _named(dict(catalogue.places))
    yield uris.LIMIT, "Limits", _named({row.id: _limit(row, catalogue) for row in catalogue.limit_rows.values()})
    yield uris.FORMULA, "Formulas", _named({f.key: f"{f.title}: {f.text}" for f in catalogue.formulas.values()})
    bands = (band for formula in catalogue.formulas.values() for band in formula.bands)
    yield uris.FORMULA_BAND, "Grades of a computed value", _named({b.code: b.display for b in bands})
    yield uris.SERVICE, "Services that can be ordered", _named({s.key: s.title for s in catalogue.services.values()})
    triggered = {t.charge: t.text for t in catalogue.triggers}
    yield uris.CHARGE, "Charges", _named({**triggered, **{p.code: p.text for p in prices}})
    yield uris.TAX_CATEGORY, "Categories of tax", _named(CATEGORIES)
    yield uris.GRADE, "Grades of who performs an exam", _named({grade: grade.capitalize() for grade in GRADES})
    yield uris.NOTE, "Notes about an exam", _named({**_NOTES, **{code: title for code, _, title in NOTES.values()}})
    yield uris.SURGERY, "Surgery that takes an organ away", _surgery(catalogue)
    yield uris.PLANE, "Planes", _named({code: PLANES[code].capitalize() for code in catalogue.plane_codings})
    yield uris.AMENDMENT, "Kinds of amendment", _named({kind: kind.capitalize() for kind in KINDS})
    yield uris.REPORT_SECTION, "Sections of a report", _named(dict(catalogue.sections))
    yield uris.OPERATION, "Operations", _named({one.name: one.title for one in operations.ALL})
    yield uris.EXAM_EVENT, "What happens to an exam", _named(EVENTS)
    yield uris.INVOICE_TYPE, "Kinds of invoice", _named(INVOICES)
    yield uris.ESTIMATE, "Estimates and consents to them", _named(ESTIMATES)
    yield uris.CLAIM_DOCUMENT, "Documents that a direct claim needs", _named(CLAIMED)
    yield uris.URGENT, "Urgent findings", _named({u.code: u.title for u in catalogue.urgent.values()})
    yield uris.URGENT_STATE, "States of an urgent finding", _named({**FINDING_STATES, **MESSAGE_STATES})
    yield uris.METHOD, "How somebody is told", _named(METHODS)
    yield uris.TASK_CODE, "Kinds of task", _named({**TASKS, **EXCEPTION, **REFERRING})
    yield uris.REFERRAL_STATE, "States and parts of a referral", _named({**REFERRALS, **REFERRED})
    exceptions = {e.kind: e.title for e in catalogue.exceptions.values()}
    yield uris.BILLING_EXCEPTION, "Exceptions of billing", _named(exceptions)


def vocabulary(catalogue: Catalogue, name: str) -> Concepts:
    """The findings that structures of one vocabulary can have."""
    return tuple(
        Concept(f"{name}.{attribute.key}.{value.code}", value.display, facts=tuple(value_facts(attribute, value)))
        for attribute in catalogue.vocabularies[name]
        for value in attribute.values
    )


def _named(words: Mapping[str, str]) -> Concepts:
    return tuple(Concept(code, display) for code, display in words.items())


def _structures(catalogue: Catalogue) -> Concepts:
    """The structures, and the organs by which an order can name several of them at once."""
    found = {s.key: s.title for s in catalogue.structures.values()}
    groups = {s.key: s.group for s in catalogue.structures.values() if s.group != s.key}
    for group in groups.values():
        found.setdefault(group, group.replace("_", " ").capitalize())
    return tuple(Concept(code, title, groups.get(code, "")) for code, title in found.items() if code)


def _limit(row: Limit, catalogue: Catalogue) -> str:
    """A published figure, as it is read: what was measured in whom, what lies inside, and who published it."""
    where = ", ".join(catalogue.structures[key].title for key in row.structures)
    return f"{where}, {row.words}, {' and '.join(row.species)}. {spoken(row)}"


def _steps(catalogue: Catalogue) -> Concepts:
    rules = [*asking.RULES.values(), *(step for one in catalogue.protocols.values() for step in one.steps)]
    return _named({rule.code: rule.title for rule in reversed(rules)})


def _surgery(catalogue: Catalogue) -> Concepts:
    rows = {code: row.display for (system, code, _), row in catalogue.operations.items() if system == uris.SURGERY}
    return _named(rows)


def _attributes(catalogue: Catalogue) -> Concepts:
    return _named({a.key: a.title for one in catalogue.vocabularies.values() for a in one})


def _findings(catalogue: Catalogue) -> Concepts:
    return tuple(one for name in catalogue.vocabularies for one in vocabulary(catalogue, name))
