"""`destination check`: what a destination says it can do, into what of it will work and the form that is used."""

import asyncio
from collections.abc import Collection
from dataclasses import replace
from typing import Any

from service.basics import destination as terms_of
from service.basics.agreement import IN_HOUSE
from service.basics.destination import FORMS, Terms
from service.commands import stop
from service.commands.table import printable
from service.courier.capability import Capability, obstacles
from service.courier.credentials import Smart
from service.courier.lines import Lines
from service.courier.probing import Probe, Target, probe
from service.store import DestinationRow, SqlBooks

SECONDS = 20
SMART = ("token_endpoint_auth_methods_supported", "token_endpoint_auth_signing_alg_values_supported")


def check(
    books: SqlBooks,
    *,
    organization: str,
    name: str,
    apply: bool = False,
    private: Collection[str] = (),
    lines: Lines | None = None,
) -> None:
    """Ask the destination what it can do and print what will work; nothing is written there.

    apply: use the first of the preferred forms that will work from now on. Ends with 1 when none will.
    private: hosts of one's own network at which a token may be asked for."""
    row = books.destination(organization, name)
    if row is None:
        raise stop.stop(f"{printable(organization)} has no destination {printable(name)}")
    terms = terms_of.read(row.settings)
    print(f"{name} at {row.url}")
    if terms.form == "webhook":
        print("  a webhook says nothing of itself; a delivery is the only proof")
        return
    if terms.form == IN_HOUSE:
        print("  an organisation of this very service: nothing goes over a network, and nothing is asked")
        return
    smart = Smart(books, private=private)
    seen = asyncio.run(_seen(row, terms, lines or Lines(total_seconds=SECONDS, credentials=smart)))
    _tell(seen, terms)
    chosen = _chosen(seen.capability, terms)
    if not chosen:
        raise stop.stop(f"none of the forms preferred ({', '.join(terms.forms)}) will work at {printable(name)}")
    if apply and chosen != terms.form:
        books.set_terms(organization, name, terms_of.written(replace(terms, form=chosen), row.settings))
        print(f"  in use from now on: {chosen}")
    else:
        print(f"  in use: {terms.form}{'' if chosen == terms.form else f'; {chosen} would work (--apply)'}")


async def _seen(row: DestinationRow, terms: Terms, lines: Lines) -> Probe:
    target = Target(row.organization, row.name, row.url, row.authorization, terms.form, row.settings)
    async with lines as open_lines:
        return await probe(open_lines, target)


def _tell(seen: Probe, terms: Terms) -> None:
    print(f"  tokens by SMART Backend Services: {_smart(seen.smart)}")
    if seen.capability is None:
        raise stop.stop(f"it gives no CapabilityStatement: {printable(seen.trouble)}")
    found = seen.capability
    print(f"  {printable(found.name)}, FHIR {printable(found.release)}; formats: {printable(', '.join(found.formats))}")
    for form in FORMS[:-1]:
        against = obstacles(found, form, terms)
        print(f"  {form:<12} {printable('; '.join(against)) if against else 'will work, by what it says'}")
    if seen.trial is not None:
        print(f"  dry validation of a report: {printable('; '.join(seen.trial)) or 'nothing wrong'}")


def _smart(given: dict[str, Any] | None) -> str:
    if given is None:
        return "not offered"
    ways = [str(one) for name in SMART for one in given.get(name, []) if isinstance(given.get(name), list)]
    return printable(f"offered ({', '.join(ways)})") if ways else "offered"


def _chosen(found: Capability | None, terms: Terms) -> str:
    return next((form for form in terms.forms if found and not obstacles(found, form, terms)), "")
