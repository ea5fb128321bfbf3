"""Patches into the resources they leave, checked as an update would be."""

from collections.abc import Sequence

from service.actions.checking import checked
from service.actions.pending import Pending
from service.actions.writing import decoded
from service.basics.errors import Fault, Refusal
from service.fhir import patching


def apply(waiting: Sequence[Pending], *, practice: bool) -> list[Fault]:
    """Give each PATCH the resource that its operations leave; raises the refusals of all that do not fit.

    Returns what breaks only our own rules, as `checked` does."""
    refusals: list[Refusal] = []
    ones = [p for p in waiting if p.entry.method == "PATCH"]
    for one in ones:
        if one.before is None:
            continue
        try:
            one.resource = patching.patched(decoded(one.before), one.entry.patch)
        except Refusal as refusal:
            refusals.append(refusal.inside(one.content) if one.content else refusal)
    if refusals:
        raise type(refusals[0])(*(fault for refusal in refusals for fault in refusal.faults))
    return checked(((p.entry, p.resource) for p in ones), practice=practice)
