"""`token create`: a new token for an organisation, shown once."""

from service.access import scopes, tokens
from service.basics.errors import Refusal
from service.commands import stop
from service.store import SqlBooks


def create(books: SqlBooks, organization: str, *, wanted: list[str], label: str) -> str:
    """A token for the organisation (a slug that exists) with these scopes; the store keeps its fingerprint only."""
    try:
        granted = scopes.checked(wanted)
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    token = tokens.new_token()
    books.add_token(tokens.fingerprint(token), organization, scopes=granted, label=label)
    return token
