"""What $validate was asked -> all that is wrong with a resource, and what else is worth knowing."""

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from service.basics.errors import Fault
from service.fhir import profiles, uris
from service.fhir.validate.check import check
from service.fhir.validate.compiled import types
from service.fhir.validate.profile import profile
from service.fhir.validate.second import second_opinion

MODES = ("create", "update", "delete", "profile")
_MODE = "Parameters.parameter.where(name='mode')"
_PROFILE = "Parameters.parameter.where(name='profile')"


class Remark(NamedTuple):
    """One issue of the answer: error, warning or information."""

    severity: str
    fault: Fault


def opinion(
    resource: dict[str, Any] | None,
    *,
    type_: str,
    id_: str = "",
    mode: str = "",
    asked: Iterable[str] = (),
    practice: bool = True,
) -> list[Remark]:
    """All that can be said of the resource without looking at what is stored; there is always something.

    id_ is in the address when one resource was named; asked are canonicals of profiles; practice: our own rules apply.
    Without a resource (mode delete) only the question itself is judged."""
    faults = list(_question(resource, mode=mode, id_=id_))
    if resource is not None:
        found = check(resource, type_=type_)
        faults += found
        if _typed(resource) == type_:
            faults += _of_mode(resource, mode=mode, id_=id_)
            faults += _of_profiles(resource, asked, practice=practice, valid=not found)
    remarks = [Remark("error", fault) for fault in dict.fromkeys(faults)]
    if _typed(resource):
        remarks += (Remark("information", fault) for fault in second_opinion(resource or {}))
    if not faults:
        remarks.insert(0, Remark("information", Fault("informational", "Nothing is wrong with it.")))
    return remarks


def _typed(resource: Any) -> str:
    kind = resource.get("resourceType") if isinstance(resource, dict) else None
    return kind if isinstance(kind, str) else ""


def _question(resource: dict[str, Any] | None, *, mode: str, id_: str) -> Iterator[Fault]:
    if mode and mode not in MODES:
        yield Fault("code-invalid", f"mode is one of {', '.join(MODES)}", _MODE)
    if mode in ("update", "delete", "profile") and not id_:
        yield Fault("invalid", f"mode {mode} is asked of one resource: [type]/[id]/$validate", _MODE)
    if resource is None and mode not in ("delete", "profile"):
        yield Fault("required", "a resource to check is needed", "Parameters.parameter.where(name='resource')")


def _of_mode(resource: dict[str, Any], *, mode: str, id_: str) -> Iterator[Fault]:
    if mode == "update" and id_ and resource.get("id") != id_:
        yield Fault("invalid", "the id of an update is the one in the address", f"{resource['resourceType']}.id")


def _of_profiles(resource: dict[str, Any], asked: Iterable[str], *, practice: bool, valid: bool) -> Iterator[Fault]:
    """What profiles forbid: those asked for and those it claims; a profile is looked at once R4 itself is kept."""
    meta = resource.get("meta")
    claimed = meta.get("profile") if isinstance(meta, dict) else None
    ours = [url for url in (claimed if isinstance(claimed, list) else []) if _plain(url) in profiles.PROFILES]
    for url in dict.fromkeys([*asked, *ours]):
        yield from _of_profile(resource, _plain(url), valid=valid)
    if practice and valid:
        yield from profile(resource)
        for url in profiles.known_by_sign(resource):
            yield from profiles.against(resource, url)


def _of_profile(resource: dict[str, Any], url: str, *, valid: bool) -> Iterator[Fault]:
    kind = resource["resourceType"]
    known = profiles.PROFILES.get(url)
    of_r4 = url.removeprefix(uris.STRUCTURE_DEFINITION) if url.startswith(uris.STRUCTURE_DEFINITION) else ""
    wanted = known.type if known else of_r4 if of_r4 in types() else ""
    if not wanted and of_r4 not in ("Resource", "DomainResource"):
        yield Fault("not-found", "this profile is not known here", _PROFILE)
    elif wanted and wanted != kind:
        yield Fault("invalid", f"the profile is of {wanted}, and this is a {kind}", f"{kind}.resourceType")
    elif known and valid:
        yield from profiles.against(resource, url)


def _plain(url: Any) -> str:
    """A canonical without its version."""
    return str(url).partition("|")[0]
