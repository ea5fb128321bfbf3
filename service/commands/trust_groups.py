"""Commands in groups about who is who between us and record systems: `key` and `webhook`."""

from typing import Annotated

import typer

from service.commands import opening, organization, signing_keys, webhook

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]

Sender = Annotated[str, typer.Argument(help="Who sends: the name of the destination whose posts it acknowledges.")]

keys = typer.Typer(no_args_is_help=True, help="Keys of our own, by which record systems know us.")
webhooks = typer.Typer(no_args_is_help=True, help="Record systems that may send signed messages.")


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


@webhooks.command("add")
def webhook_add(organization_: Organization, sender: Sender) -> None:
    """Let a record system send signed messages; prints the secret once, alone."""
    with opening.books() as books:
        webhook.add(books, organization=organization.slug(organization_), name=sender)


@webhooks.command("rotate")
def webhook_rotate(organization_: Organization, sender: Sender) -> None:
    """Make a new secret beside the one before; prints it once, alone."""
    with opening.books() as books:
        webhook.rotate(books, organization=organization.slug(organization_), name=sender)


@webhooks.command("settle")
def webhook_settle(organization_: Organization, sender: Sender) -> None:
    """Let the newest secret alone be good."""
    with opening.books() as books:
        webhook.settle(books, organization=organization.slug(organization_), name=sender)


@webhooks.command("list")
def webhook_list(organization_: Organization) -> None:
    """Who may send signed messages; secrets are never shown again."""
    with opening.books() as books:
        webhook.list_(books, organization=organization.slug(organization_))


@webhooks.command("enable")
def webhook_enable(organization_: Organization, sender: Sender) -> None:
    """Take a sender's messages again."""
    with opening.books() as books:
        webhook.switch(books, organization=organization.slug(organization_), name=sender, active=True)


@webhooks.command("disable")
def webhook_disable(organization_: Organization, sender: Sender) -> None:
    """Take a sender's messages no more."""
    with opening.books() as books:
        webhook.switch(books, organization=organization.slug(organization_), name=sender, active=False)
