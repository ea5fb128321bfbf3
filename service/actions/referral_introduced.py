"""An accepted referral, told to the hospital's own record systems: they have never heard of its order or its animal."""

from collections.abc import Iterator
from typing import Any

from service.actions import refer_order, referral_sending
from service.actions.lookup import Lookup
from service.actions.ports import House, Work
from service.basics.destination import read
from service.basics.ids import new_id
from service.basics.stored import Exam, Post
from service.fhir import exact
from service.fhir.writing.delivery import bundle, conditional

Json = dict[str, Any]
EVENT = "referred"


def introduce(house: House, work: Work, exam: Exam, request: Json) -> None:
    """Promise order, animal, owners and whoever asks to each record system that takes transactions, first of all."""
    lookup = Lookup(work)
    animal = str(request["subject"]["reference"])
    owners = refer_order.owners_of(house, work, animal, lookup)
    found = [*referral_sending.asking(lookup, request), lookup.find(animal), *owners, request]
    key = f"{exam.id}:{EVENT}:1"
    whole = bundle([one for one in found if one], now=work.now, base=house.base, identifier=key)
    for one in whole["entry"]:
        known = conditional(one["resource"])
        if known:
            type_, _, criteria = known.partition("?")
            one["request"] = {"method": "POST", "url": type_, "ifNoneExist": criteria}
    work.post(Post(new_id(), name, key, exam.id, EVENT, exact.encode(whole)) for name in _record_systems(work))


def _record_systems(work: Work) -> Iterator[str]:
    for name, text in work.routes():
        terms = read(text)
        if not terms.agreement and terms.family == "transaction":
            yield name
