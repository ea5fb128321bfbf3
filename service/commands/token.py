"""`token create|list|revoke`: long-lived tokens for scripts, each shown once, and those that clients were given."""

from service.access import granting, tokens
from service.basics.errors import Refusal
from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks

_SHOWN = 12  # letters of a token's digest that name it


def create(
    books: SqlBooks, organization: str, *, wanted: list[str], label: str, role: str = "", party: str = ""
) -> str:
    """A token for the organisation (a slug that exists) with these scopes; the store keeps its fingerprint only."""
    try:
        granted = granting.granted(organization, wanted, role=role, party=party)
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    token = tokens.new_token()
    books.add_token(tokens.fingerprint(token), organization, scopes=granted, label=label, role=role, party=party)
    return token


def list_(books: SqlBooks, organization: str) -> None:
    """Print the tokens of an organisation that are good now; none of them can be told from what is shown."""
    rows = [
        (one.hash[:_SHOWN], one.label, one.role, " ".join(one.scopes), one.made, one.until or "until revoked")
        for one in books.tokens(organization)
    ]
    for line in table(("token", "label", "role", "scopes", "made", "good"), rows):
        print(line)


def revoke(books: SqlBooks, organization: str, name: str) -> None:
    """Make the token worthless that `list` shows by this name; running servers forget it within five seconds."""
    found = [one for one in books.tokens(organization) if len(name) >= 6 and one.hash.startswith(name)]
    if len(found) != 1:
        raise stop.stop(f"{printable(organization)} has {len(found)} tokens by the name {printable(name)}")
    books.revoke_token(organization, found[0].hash)
    print(f"{found[0].hash[:_SHOWN]} ({printable(found[0].label)}) is worthless now")
