"""Our own value sets and code systems, as a search may name them: which codes are in one, what stands under a code."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.actions.definitions import definitions
from service.actions.ports import Caller, House


@dataclass(frozen=True, slots=True)
class OwnTerms:
    """The terms of the catalogue in force, as far as a caller may see them."""

    house: House
    caller: Caller

    def members(self, value_set: str) -> Sequence[tuple[str, str]] | None:
        """(system, code) of each code, "" for all codes of the system; None for a set that is not ours.

        value_set: its URL, with |version or without, or ValueSet/<id>."""
        url, _, version = value_set.partition("|")
        local = url.removeprefix(f"{self.house.base}/")
        for one in definitions(self.house, self.caller, "ValueSet"):
            if one["url"] == url or f"ValueSet/{one['id']}" == local:
                return _listed(one) if version in ("", one["version"]) else None
        return None

    def kin(self, system: str, code: str, *, above: bool) -> Sequence[str] | None:
        """The code and all above (else below) it as its CodeSystem groups them; None for a system that is not ours."""
        for one in definitions(self.house, self.caller, "CodeSystem"):
            if one["url"] == system:
                parents = dict(_parents("", one["concept"]))
                if above:
                    return list(_line(parents, code))
                return [code, *(other for other in parents if other != code and code in _line(parents, other))]
        return None


def _listed(value_set: dict[str, Any]) -> list[tuple[str, str]]:
    return [
        (include["system"], concept["code"])
        for include in value_set["compose"]["include"]
        for concept in include.get("concept", [{"code": ""}])
    ]


def _parents(parent: str, concepts: Sequence[dict[str, Any]]) -> Iterator[tuple[str, str]]:
    """(code, the code that it stands under) of every concept."""
    for one in concepts:
        yield one["code"], parent
        yield from _parents(one["code"], one.get("concept", ()))


def _line(parents: Mapping[str, str], code: str) -> Iterator[str]:
    """The code, and those that it stands under."""
    while code:
        yield code
        code = parents.get(code, "")
