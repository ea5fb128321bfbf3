"""Commands in groups about who we are to others: `key`."""

from typing import Annotated

import typer

from service.commands import opening, organization, signing_keys

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]

keys = typer.Typer(no_args_is_help=True, help="Keys of our own, by which record systems know us.")


@keys.command("add")
def key_add(
    organization_: Organization, algorithm: Annotated[str, typer.Option(help="ES384 or RS384.")] = "ES384"
) -> None:
    """Make a key; prints its name and where its public half is published."""
    base = opening.settings().base_url
    with opening.books() as books:
        signing_keys.add(books, organization=organization.slug(organization_), algorithm=algorithm, base=base)


@keys.command("list")
def key_list(organization_: Organization) -> None:
    """The keys, and which of them sign now."""
    with opening.books() as books:
        signing_keys.list_(books, organization=organization.slug(organization_))


@keys.command("retire")
def key_retire(organization_: Organization, key: str) -> None:
    """Publish a key no more and forget its private half."""
    with opening.books() as books:
        signing_keys.retire(books, organization=organization.slug(organization_), kid=key)
