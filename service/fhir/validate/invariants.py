"""R4's invariants that speak of the presence of elements, one row each, for the generated schema."""

from typing import NamedTuple


class Invariant(NamedTuple):
    """some: at least one of `names` is there; needs: the first needs the others; excludes: the first excludes them;
    not below 0, above 0, of UCUM, one: what the values of `names` are when they are there."""

    path: str  # type or backbone element
    key: str  # R4's
    rule: str
    names: tuple[str, ...]  # without [x]
    words: str


def _row(path: str, key: str, rule: str, names: str, words: str) -> Invariant:
    return Invariant(path, key, rule, tuple(names.split()), words)


INVARIANTS: tuple[Invariant, ...] = (
    *(
        _row(path, "qty-3", "needs", "code system", "a unit that is coded needs its system")
        for path in ("Quantity", "Age", "Count", "Distance", "Duration")
    ),
    *(
        _row(path, key, "needs", "value code", "a value needs the code of its unit")
        for path, key in (("Age", "age-1"), ("Count", "cnt-3"), ("Distance", "dis-1"))
    ),
    *(
        _row(path, key, "of UCUM", "system", "the unit is one of UCUM")
        for path, key in (("Age", "age-1"), ("Count", "cnt-3"), ("Distance", "dis-1"))
    ),
    _row("Age", "age-1", "above 0", "value", "an age is above 0"),
    _row("Count", "cnt-3", "one", "code", "what is counted has the unit 1"),
    _row("Duration", "drt-1", "needs", "code value", "the unit of a duration needs a value"),
    _row("Attachment", "att-1", "needs", "data contentType", "attached data needs its contentType"),
    _row("ContactPoint", "cpt-2", "needs", "value system", "a contact value needs its system (phone, email ...)"),
    _row("Expression", "exp-1", "some", "expression reference", "an expression or a reference is needed"),
    _row("Ratio", "rat-1", "needs", "numerator denominator", "a numerator needs a denominator"),
    _row("Ratio", "rat-1", "needs", "denominator numerator", "a denominator needs a numerator"),
    _row("Ratio", "rat-1", "some", "numerator extension", "a ratio needs numerator and denominator, or an extension"),
    _row("Timing.repeat", "tim-1", "needs", "duration durationUnit", "a duration needs its unit"),
    _row("Timing.repeat", "tim-2", "needs", "period periodUnit", "a period needs its unit"),
    _row("Timing.repeat", "tim-4", "not below 0", "duration", "a duration is not below 0"),
    _row("Timing.repeat", "tim-5", "not below 0", "period", "a period is not below 0"),
    _row("Timing.repeat", "tim-9", "needs", "offset when", "an offset needs the event that it is counted from"),
    _row("Timing.repeat", "tim-6", "needs", "periodMax period", "a maximum of the period needs the period"),
    _row("Timing.repeat", "tim-7", "needs", "durationMax duration", "a maximum of the duration needs the duration"),
    _row("Timing.repeat", "tim-8", "needs", "countMax count", "a maximum of the count needs the count"),
    _row("Timing.repeat", "tim-10", "excludes", "timeOfDay when", "time of day and event do not go together"),
    _row("TriggerDefinition", "trd-2", "needs", "condition data", "a condition needs data"),
    _row("TriggerDefinition", "trd-1", "excludes", "data timing", "data and timing do not go together"),
    _row("Observation", "obs-6", "excludes", "dataAbsentReason value", "a value and the reason for its absence exclude"
         " each other"),
    _row("Observation.referenceRange", "obs-3", "some", "low high text", "a reference range needs low, high or text"),
    _row("Patient.contact", "pat-1", "some", "name telecom address organization", "a contact needs a name, telecom,"
         " address or organization"),
    _row("Organization", "org-1", "some", "identifier name", "an organization needs an identifier or a name"),
    _row("Appointment.participant", "app-1", "some", "type actor", "a participant needs a type or an actor"),
    _row("Appointment", "app-2", "needs", "start end", "a start needs an end"),
    _row("Appointment", "app-2", "needs", "end start", "an end needs a start"),
    _row("AuditEvent.entity", "sev-1", "excludes", "name query", "name and query do not go together"),
    _row("Bundle.entry", "bdl-5", "some", "resource request response", "an entry needs one of these"),
    _row("Composition.section", "cmp-1", "some", "text entry section", "a section needs text, entries or sections"),
    _row("Composition.section", "cmp-2", "excludes", "emptyReason entry", "a section with entries is not empty"),
    _row("Condition.stage", "con-1", "some", "summary assessment", "a stage needs a summary or an assessment"),
    _row("Condition.evidence", "con-2", "some", "code detail", "evidence needs a code or a detail"),
    _row("Consent", "ppc-1", "some", "policy policyRule", "a consent needs a policy or a policyRule"),
    _row("ServiceRequest", "prr-1", "needs", "orderDetail code", "order details need a code"),
    _row("Parameters.parameter", "inv-1", "some", "value resource part", "a parameter needs one of these"),
    _row("Parameters.parameter", "inv-1", "excludes", "part value resource", "parts exclude a value and a resource"),
    _row("Parameters.parameter", "inv-1", "excludes", "resource value", "a resource and a value exclude each other"),
)  # fmt: skip
