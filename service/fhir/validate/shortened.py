"""What the compiled schema finds wrong in a value of any size: part by part when it is large, at a bounded cost."""

from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from jsonschema_rs import ValidationError

from service.fhir.validate.parts import Part, Place

MOST = 200  # faults told of one resource: more help nobody, and cost time
_WHOLE = 60  # commas up to which a value is looked at as a whole
_SMALL, _MIDDLE, _LARGE = 60, 3200, 12_800  # values of one part: what is valid is passed over in large ones
_LOOKED = 200_000  # values among which errors are looked for

Path = list[Any]
Found = tuple[ValidationError, Callable[[Path], Path]]
"""An error, and what turns the paths that it tells into those in the whole value."""


def errors(compiled: Any, value: Any, text: bytes) -> Iterator[Found]:
    """What the schema finds wrong in a value that it refuses: at least one error, some of them twice. text is its JSON.

    A list of errors holds a copy of what each is about: of a value with very long lists that would take gigabytes."""
    if text.count(b",") <= _WHOLE:
        yield from ((error, list) for error in islice(compiled.iter_errors(value), MOST))
        return
    told = False
    for found in islice(_in_parts(compiled, value), MOST):
        told = True
        yield found
    if not told:
        yield from _first(compiled, value)


def _in_parts(compiled: Any, value: Any) -> Iterator[Found]:
    start: Place | None = None
    size, looked = _SMALL, 0
    while looked < _LOOKED:
        part = Part(value, start, size=size)
        if compiled.is_valid(part.value):
            size = min(2 * size, _LARGE)
        elif size > _MIDDLE:
            size = _MIDDLE
            continue
        else:
            looked += size
            found = [error for error in compiled.iter_errors(part.value) if part.judges(error)]
            yield from ((error, part.moved) for error in found)
            size = _SMALL if found else min(2 * size, _MIDDLE)
        start = part.end
        if start is None:
            return


def _first(compiled: Any, value: Any) -> Iterator[Found]:
    try:
        compiled.validate(value)
    except ValidationError as error:
        yield error, list
