"""The Parameters of $settle into the act they ask for."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault, Invalid
from service.exam.act import Act
from service.exam.asking import ANSWERS, NEUTERED, SEX, TESTES
from service.fhir.reading.parameters import named, parts, text

Json = dict[str, Any]
KNOWN = (
    "disposition", "reason", "detail", "operation", "plane", "window", "station", "item", "retract", "performer",
    "effective", "sex", "neutered", "scrotalTestes",
)  # fmt: skip
SINGLE = frozenset(KNOWN) - {"plane"}
WORDS = {"true": "neutered", "false": "intact"}


def read_act(parameters: Json, *, key: str, now: str, by: str) -> Act:
    """The act; raises Invalid with everything that cannot be understood.

    key: unique to the act. now and by: when and who, where the caller does not say."""
    faults = list(_faults(parameters))
    if faults:
        raise Invalid(*faults)
    station = named(parameters, "station")
    effective = text(parameters, "effective")
    return Act(
        key=key,
        at=effective or now,
        by=text(parameters, "performer") or by,
        disposition=text(parameters, "disposition"),
        reason=text(parameters, "reason"),
        detail=text(parameters, "detail"),
        operation=text(parameters, "operation"),
        planes=tuple(str(p) for p in named(parameters, "plane")),
        window=text(parameters, "window"),
        station=int(station[0]) if station else None,
        item=text(parameters, "item"),
        retract=True in named(parameters, "retract"),
        answers=tuple(_answers(parameters)),
        timed=bool(effective),
    )


def _answers(parameters: Json) -> Iterator[tuple[str, str]]:
    for name, item in (("sex", SEX), ("neutered", NEUTERED), ("scrotalTestes", TESTES)):
        for value in named(parameters, name):
            said = str(value).lower() if isinstance(value, bool) else text(parameters, name)
            yield item, WORDS.get(said, said) if item == NEUTERED else said


def _faults(parameters: Json) -> Iterator[Fault]:
    if parameters.get("resourceType") != "Parameters":
        yield Fault("structure", "The body is a Parameters resource.", "Parameters")
        return
    names = [name for name, _ in parts(parameters)]
    for name in dict.fromkeys(names):
        where = f"Parameters.parameter.where(name='{name}')"
        if name not in KNOWN:
            yield Fault("not-supported", f'There is no parameter "{name}"; known: {", ".join(KNOWN)}.', where)
        elif name in SINGLE and names.count(name) > 1:
            yield Fault("structure", f"{name} is given more than once.", where)
    yield from _values(parameters)


def _values(parameters: Json) -> Iterator[Fault]:
    for name, value in parts(parameters):
        where = f"Parameters.parameter.where(name='{name}')"
        if value is None and name in KNOWN:
            yield Fault("required", f"{name} has no value.", where)
        elif name == "station" and (isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 10):
            yield Fault("value", "station is a whole number from 1 to 10.", where)
        elif name == "retract" and not isinstance(value, bool):
            yield Fault("value", "retract is true or false.", where)
        elif name == "neutered" and not isinstance(value, bool) and value not in ANSWERS[NEUTERED]:
            yield Fault("value", "neutered is true or false.", where)
