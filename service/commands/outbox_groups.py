"""Commands in groups about what leaves the house: `destination` and `deliveries`."""

from pathlib import Path
from typing import Annotated

import typer

from service.basics.destination import FORMATS, FORMS, SHARES, USUAL, Terms
from service.commands import deliveries, destination, opening, organization, signing_keys, stop

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who asks for it; it goes on record.")]
Send = Annotated[list[str] | None, typer.Option("--send", help=f"{', '.join(SHARES)}; may be repeated.")]
Form = Annotated[list[str] | None, typer.Option("--form", help=f"{', '.join(FORMS)}; repeated, the best first.")]
Format = Annotated[list[str] | None, typer.Option("--format", help="Forms of the report, by media type.")]
Secret = Annotated[Path | None, typer.Option(help="File with the Authorization header's value, or a webhook's secret.")]

destinations = typer.Typer(no_args_is_help=True, help="Where finished posts go.")
posts = typer.Typer(no_args_is_help=True, help="What was promised, what became of it, and sending it again.")


@destinations.command("add")
def destination_add(
    organization_: Organization,
    name: Annotated[str, typer.Argument(help="A short name: lower case letters, digits, hyphens.")],
    url: Annotated[str, typer.Argument(help="The FHIR base of the record system, or a webhook's address.")],
    authorization: Secret = None,
    send: Send = None,
    form: Form = None,
    format_: Format = None,
    zone: Annotated[str, typer.Option(help="IANA zone in which instants are told; UTC without.")] = "",
) -> None:
    """Send what is finished there from now on."""
    forms = tuple(form or ("transaction",))
    usual = ("report",) if forms == ("document",) else USUAL
    terms = Terms(tuple(send or usual), forms, forms[0], tuple(format_ or FORMATS), zone)
    with opening.books() as books:
        slug = organization.slug(organization_)
        destination.add(books, organization=slug, name=name, url=url, authorization=authorization, terms=terms)


@destinations.command("change")
def destination_change(
    organization_: Organization,
    name: str,
    send: Send = None,
    form: Form = None,
    format_: Format = None,
    zone: Annotated[str | None, typer.Option(help="IANA zone in which instants are told; empty for UTC.")] = None,
) -> None:
    """Change what it is sent and how; what is not named stays."""
    terms = {"sends": tuple(send or ()), "forms": tuple(form or ()), "formats": tuple(format_ or ())}
    with opening.books() as books:
        destination.change(books, organization=organization.slug(organization_), name=name, zone=zone, **terms)


@destinations.command("check")
def destination_check_(
    organization_: Organization,
    name: str,
    apply: Annotated[bool, typer.Option("--apply", help="Use the first preferred form that will work.")] = False,
) -> None:
    """Ask it what it can do, and say what will work; nothing is written there."""
    from service.commands import destination_check  # noqa: PLC0415  # an HTTP client that no other command should load

    slug, private = organization.slug(organization_), opening.settings().private_hosts
    with opening.books() as books:
        destination_check.check(books, organization=slug, name=name, apply=apply, private=private)


@destinations.command("identify")
def destination_identify(
    organization_: Organization,
    name: str,
    client_id: Annotated[str, typer.Option(help="What the record system calls us.")],
    scope: Annotated[list[str], typer.Option("--scope", help="Such as system/*.cruds; may be repeated.")],
    algorithm: Annotated[str, typer.Option(help="ES384 or RS384; what the server takes without.")] = "",
) -> None:
    """Get tokens there by a signed assertion (SMART Backend Services) instead of a fixed header."""
    with opening.books() as books:
        slug = organization.slug(organization_)
        signing_keys.identify(books, organization=slug, name=name, client=client_id, scopes=scope, algorithm=algorithm)


@destinations.command("list")
def destination_list(organization_: Annotated[str, typer.Option("--organization")] = "") -> None:
    """List destinations; credentials are never shown."""
    with opening.books() as books:
        destination.list_(books, organization=organization.slug(organization_))


@destinations.command("enable")
def destination_enable(organization_: Organization, name: str) -> None:
    """Switch a destination on again; what waited goes out."""
    with opening.books() as books:
        destination.switch(books, organization=organization.slug(organization_), name=name, active=True)


@destinations.command("disable")
def destination_disable(organization_: Organization, name: str) -> None:
    """Switch a destination off; its posts wait."""
    with opening.books() as books:
        destination.switch(books, organization=organization.slug(organization_), name=name, active=False)


@posts.command("list")
def deliveries_list(
    organization_: Organization,
    state: Annotated[str, typer.Option(help="waiting, delivered, dead or skipped.")] = "",
    limit: Annotated[int, typer.Option(min=1, max=10_000)] = 50,
    as_json: Annotated[bool, typer.Option("--json")] = False,
) -> None:
    """The newest posts."""
    with opening.books() as books:
        slug = organization.slug(organization_)
        deliveries.list_(books, organization=slug, state=state, limit=limit, as_json=as_json)


@posts.command("show")
def deliveries_show(
    organization_: Organization,
    post: str,
    body: Annotated[bool, typer.Option(help="Print the bytes promised.")] = False,
    whole: Annotated[bool, typer.Option(help="Print answers unshortened.")] = False,
) -> None:
    """One post with all its attempts."""
    with opening.books() as books:
        deliveries.show(books, organization=organization.slug(organization_), post=post, body=body, whole=whole)


@posts.command("replay")
def deliveries_replay(
    organization_: Organization,
    by: By,
    post: Annotated[str, typer.Argument(help="One post; or name an instant with --since.")] = "",
    since: Annotated[str, typer.Option(help="All dead posts made since a day or instant.")] = "",
    destination_: Annotated[str, typer.Option("--destination", help="With --since: only of this one.")] = "",
    delivered: Annotated[bool, typer.Option("--delivered", help="With --since: also what had arrived.")] = False,
) -> None:
    """Send a post, or all since an instant, again; what happened before stays on record."""
    if bool(post) == bool(since):
        raise stop.stop("name either a post or --since", 2)
    with opening.books() as books:
        slug = organization.slug(organization_)
        if post:
            return deliveries.replay(books, organization=slug, post=post, by=by)
        return deliveries.replay_since(
            books, organization=slug, since=since, by=by, destination=destination_, delivered=delivered
        )


@posts.command("skip")
def deliveries_skip(organization_: Organization, post: str, by: By) -> None:
    """Let the exam's later posts pass a dead one; what happened stays on record."""
    with opening.books() as books:
        deliveries.skip(books, organization=organization.slug(organization_), post=post, by=by)
