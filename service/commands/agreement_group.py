"""Commands about referral agreements: words typed into the functions that do them."""

from pathlib import Path
from typing import Annotated

import typer

from service.basics.agreement import BILLED, SHARED, Agreement
from service.commands import agreement, opening, organization, referral

Organization = Annotated[str, typer.Option("--organization", help="The hospital, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who agreed on it; it goes on record.")]
Service = Annotated[
    list[str] | None, typer.Option("--service", help="May be repeated; all that can be ordered without.")
]
Share = Annotated[list[str] | None, typer.Option("--share", help=f"{', '.join(SHARED)}; report and images without.")]
Contact = Annotated[
    list[str] | None, typer.Option("--contact", help="Whom urgent findings are passed on to, in order.")
]

commands = typer.Typer(no_args_is_help=True, help="What clinics and hospitals agreed on about referrals.")

referrals = typer.Typer(no_args_is_help=True, help="Referrals that wait for somebody.")


@referrals.command("list")
def referral_list(organization_: Annotated[str, typer.Option("--organization", help="By name or slug.")]) -> None:
    """What is to be accepted, which animal is to be named, what lacks consent."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        referral.list_(books, current, organization.slug(organization_))


@commands.command("add")
def agreement_add(
    organization_: Organization,
    name: Annotated[str, typer.Argument(help="A short name: lower case letters, digits, hyphens.")],
    by: By,
    clinic: Annotated[str, typer.Option(help="The clinic, where it is an organisation here.")] = "",
    client: Annotated[str, typer.Option(help="Else: label of its token, or name of its client.")] = "",
    url: Annotated[str, typer.Option(help="With --client: the FHIR base where it is told.")] = "",
    authorization: Annotated[Path | None, typer.Option(help="File with the Authorization header's value.")] = None,
    service: Service = None,
    bills: Annotated[str, typer.Option(help=f"Whom the hospital bills: {' or '.join(BILLED)}.")] = "client",
    share: Share = None,
    consent: Annotated[bool, typer.Option("--consent", help="Nothing is sent without the owner's consent.")] = False,
    starts: Annotated[str, typer.Option(help="First day.")] = "",
    ends: Annotated[str, typer.Option(help="Last day.")] = "",
    contact: Contact = None,
) -> None:
    """Let a clinic refer animals to the organisation from now on."""
    current = opening.catalogue(opening.settings())
    shares, there = tuple(share or ("report", "images")), organization.slug(clinic)
    with opening.books() as books:
        given = Agreement(
            id=name, hospital=organization.slug(organization_), clinic=there, client=client,
            services=tuple(service or ()), bills=bills, shares=shares, consent=consent, starts=starts, ends=ends,
            contacts=tuple(contact or ()), by=by,
        )  # fmt: skip
        agreement.add(books, given, services=current.services, url=url, authorization=authorization)


@commands.command("list")
def agreement_list(organization_: Organization) -> None:
    """The agreements of an organisation, as hospital or as clinic."""
    with opening.books() as books:
        agreement.list_(books, organization.slug(organization_))


@commands.command("end")
def agreement_end(
    organization_: Organization,
    name: str,
    by: By,
    day: Annotated[str, typer.Option("--day", help="The last day on which it holds.")],
) -> None:
    """Let an agreement end; reports that went out under it are still kept right."""
    with opening.books() as books:
        agreement.end(books, organization.slug(organization_), name, day=day, by=by)
