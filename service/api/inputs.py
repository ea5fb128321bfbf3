"""What an operation is given, in its URL or in posted Parameters, as named texts."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.api import conditions
from service.api.ask import Ask
from service.basics.errors import Fault, Invalid
from service.fhir.operations import Operation, Parameter
from service.fhir.reading.parameters import parts

Json = dict[str, Any]
LONGEST = 1000  # characters of a reason, which is printed on one page with all else
_TEXT = frozenset({"String", "Markdown", "Code", "Id", "Uri", "Url", "Canonical", "Date", "DateTime", "Instant"})
_WHOLE = frozenset({"Integer", "PositiveInt", "UnsignedInt"})
TYPES = {
    "string": _TEXT,
    "dateTime": _TEXT,
    "code": _TEXT | {"Coding", "CodeableConcept"},
    "Reference": _TEXT | {"Reference"},
    "integer": _WHOLE,
    "positiveInt": _WHOLE,
    "decimal": _WHOLE | {"Decimal"},
    "": frozenset[str](),
}  # value[x] that is taken for a declared type; of every other type its own


def posted(ask: Ask) -> Json:
    """The Parameters of the body, empty ones without a body. Raises Invalid when it isn't a sound Parameters."""
    given = ask.resource() if ask.body.strip() else {"resourceType": "Parameters"}
    if given["resourceType"] != "Parameters":
        raise Invalid(Fault("invalid", "An operation takes a Parameters resource.", "resourceType"))
    faults = ask.kit.check(given)
    if faults:
        raise Invalid(*faults)
    return given


def posted_to(ask: Ask, operation: Operation) -> Json:
    """The Parameters posted to an operation. Raises Invalid also for what it doesn't take, by name

    or by type: a misspelt `line` of $credit that went by unseen would credit everything."""
    given = posted(ask)
    faults = list(_untaken(given.get("parameter", []), operation.parameters, "Parameters.parameter", operation.name))
    if faults:
        raise Invalid(*faults)
    return given


def _untaken(given: Sequence[Json], takes: Sequence[Parameter], where: str, operation: str) -> Iterator[Fault]:
    """A fault for each parameter, or part of one, that isn't known, or comes more often than it may."""
    known = {one.name: one for one in takes if one.use == "in"}
    names = [str(one.get("name", "")) for one in given]
    for index, name in enumerate(names):
        path = f"{where}[{index}]"
        if name not in known:
            there = ", ".join(known) or "none"
            yield Fault("not-supported", f"${operation} takes no `{name}` here; what it takes: {there}.", path)
        elif known[name].max == "1" and name in names[:index]:
            yield Fault("invalid", f"`{name}` can be given once only.", path)
        else:
            yield from _unfit(given[index], known[name], path)
            yield from _untaken(given[index].get("part", []), known[name].parts, f"{path}.part", operation)


def _unfit(one: Json, declared: Parameter, path: str) -> Iterator[Fault]:
    """A fault when the value has another type, or a reason is longer than a page has room for."""
    kinds = [key.removeprefix("value") for key in one if key.startswith("value")]
    kinds += ["Resource"] if "resource" in one else []
    fits = TYPES.get(declared.type, frozenset({declared.type[:1].upper() + declared.type[1:]}))
    for kind in kinds:
        if kind not in fits:
            wanted = f"a {declared.type}" if declared.type else "given in parts"
            came = f"value{kind}" if f"value{kind}" in one else "a resource"
            yield Fault("invalid", f"`{declared.name}` is {wanted}, not {came}.", path)
        elif declared.name == "reason" and len(str(one.get(f"value{kind}", ""))) > LONGEST:
            yield Fault("too-long", f"`reason` has at most {LONGEST:,} characters.", path)


@dataclass(frozen=True, slots=True)
class Inputs:
    """used: (name, text) of what is known, in order; ignored: the names of what isn't."""

    used: tuple[tuple[str, str], ...]
    ignored: tuple[str, ...]

    def every(self, name: str) -> list[str]:
        """All texts of one name, those that a comma parts apart."""
        return [part for key, value in self.used if key == name for part in value.split(",") if part]

    def once(self, name: str) -> str:
        """The text of a name, "" when it isn't there. Raises Invalid when it came twice."""
        found = [value for key, value in self.used if key == name]
        if len(found) > 1:
            raise Invalid(Fault("invalid", f"{name} can be given once only.", name))
        return found[0] if found else ""

    def number(self, name: str, otherwise: int, *, most: int) -> int:
        """A whole number of at least 1, `most` for anything greater. Raises Invalid for what isn't one."""
        text = self.once(name)
        if text and not (text.isascii() and text.isdecimal() and len(text) < 10 and int(text)):
            raise Invalid(Fault("value", f"{name} must be a positive whole number.", name))
        return min(int(text), most) if text else otherwise


def inputs(ask: Ask, known: Collection[str] | None = None) -> Inputs:
    """What was given. known: names that are understood, all when None; others raise Invalid if strict."""
    given = list(ask.params) + [(name, _text(name, value)) for name, value in parts(posted(ask))]
    used = [(name, value) for name, value in given if value and (known is None or name in known)]
    ignored = [name for name, value in given if value and known is not None and name not in known]
    if ignored and conditions.strict(ask.headers):
        raise Invalid(*(Fault("not-supported", f"The parameter {name} is not known here.", name) for name in ignored))
    return Inputs(tuple(used), tuple(ignored))


def _text(name: str, value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str | int | Decimal):
        return str(value)
    raise Invalid(Fault("value", f"{name} needs a plain value.", f"Parameters.parameter.where(name='{name}')"))
