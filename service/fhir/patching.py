"""A JSON Patch (RFC 6902) and a resource into the patched resource, or the reason why it does not fit."""

import re
from collections.abc import Sequence
from typing import Any

import jsonpatch

from service.basics.errors import Fault, Invalid, RuleBroken, TooLarge
from service.fhir import exact

Json = dict[str, Any]
MEDIA = "application/json-patch+json"
MOST = 500
"""How many operations one patch may have."""
_GROWTH = 256 * 1024  # bytes that `copy` may add in all: each one may double what is there
_DEEP = 64
_NEEDS = {
    "add": ("path", "value"),
    "remove": ("path",),
    "replace": ("path", "value"),
    "move": ("path", "from"),
    "copy": ("path", "from"),
    "test": ("path", "value"),
}
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")


def operations(given: Any) -> list[Json]:
    """The operations of a patch document; raises Invalid with all faults of its form."""
    if not isinstance(given, list) or not given:
        raise Invalid(Fault("structure", "A JSON Patch is an array of operations: [{op, path, value}, ...]."))
    if len(given) > MOST:
        raise TooLarge(Fault("too-costly", f"A patch of {len(given)} operations is more than the {MOST} taken."))
    faults = [Fault("invalid", f"{_named(i, one)}: {text}") for i, one in enumerate(given) for text in _wrong(one)]
    if faults:
        raise Invalid(*faults)
    return given


def patched(resource: Json, given: Sequence[Json]) -> Json:
    """The resource after all operations, none of which is applied when one fails; raises RuleBroken naming that one.

    `resource` is used up. A narrative that the patch does not set itself is left out, for it may no longer be true."""
    id_, type_, grown = resource.get("id"), resource.get("resourceType"), 0
    done: Any = resource
    for index, one in enumerate(given):
        try:
            grown += _prepared(done, one)
            done = jsonpatch.JsonPatch([one]).apply(done, in_place=True) if one["op"] != "test" else done
        except (jsonpatch.JsonPatchException, jsonpatch.JsonPointerException, _Unfit) as error:
            words = str(error) if isinstance(error, _Unfit) else "this cannot be done here."
            raise RuleBroken(Fault("processing", f"{_named(index, one)}: {words}")) from error
        if grown > _GROWTH:
            raise TooLarge(Fault("too-costly", f"{_named(index, one)}: the patch copies too much."))
    if not isinstance(done, dict) or (done.get("id"), done.get("resourceType")) != (id_, type_):
        raise RuleBroken(Fault("processing", "A patch cannot change which resource this is: id and resourceType stay."))
    if any(one["op"] != "test" for one in given) and not any(map(_touches_text, given)):
        done.pop("text", None)
    found: Json = exact.decode(exact.encode(done))  # in its own right: nothing shared, nothing too deep
    return found


class _Unfit(Exception):
    """Why an operation does not fit, in words."""


def _prepared(document: Any, one: Json) -> int:
    """Raise _Unfit unless what the operation reads is there; how many bytes it copies."""
    op, path = one["op"], one["path"]
    if op in {"remove", "replace", "test"}:
        found = _at(document, path)
        if op == "test" and not _same(found, one["value"]):
            raise _Unfit("the test failed: the value there is another one.")
    if op in {"move", "copy"}:
        size = len(exact.encode([_at(document, one["from"])]))
        return size if op == "copy" else 0
    return 0


def _at(document: Any, pointer: str) -> Any:
    for part in pointer.split("/")[1:]:
        name = part.replace("~1", "/").replace("~0", "~")
        if isinstance(document, dict) and name in document:
            document = document[name]
        elif isinstance(document, list) and _INDEX.fullmatch(name) and int(name) < len(document):
            document = document[int(name)]
        else:
            raise _Unfit(f"there is nothing at {pointer[:200]}.")
    return document


def _same(a: Any, b: Any) -> bool:
    """JSON's own equality: 1 is 1.0, but neither is true."""
    if isinstance(a, bool) or isinstance(b, bool):
        return a is b
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(_same, a, b))
    return bool(a == b)


def _touches_text(one: Json) -> bool:
    return one["op"] in {"add", "replace", "remove", "move", "copy"} and (one["path"] + "/").startswith("/text/")


def _wrong(one: Any) -> list[str]:
    if not isinstance(one, dict):
        return ["it must be an object."]
    if not isinstance(one.get("op"), str) or one["op"] not in _NEEDS:
        return [f"op must be one of {', '.join(_NEEDS)}."]
    found = [f"{name} is missing." for name in _NEEDS[one["op"]] if name not in one]
    for name in ("path", "from"):
        pointer = one.get(name, "")
        if not isinstance(pointer, str) or (pointer and not pointer.startswith("/")) or pointer.count("/") > _DEEP:
            found.append(f"{name} must be a JSON Pointer such as /contact/0/name.")
    return found


def _named(index: int, one: Any) -> str:
    words = f" ({one.get('op')} {one.get('path')})"[:120] if isinstance(one, dict) else ""
    return f"Operation {index}{words}"
