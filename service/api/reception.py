"""A request's token into its Caller, asking the store in a thread where that may take long."""

import asyncio
from collections.abc import Mapping

from service.access import roles, tokens
from service.actions.ports import Caller
from service.api.kit import Kit

NOBODY = Caller("", "", (), "")
"""Who reads what is public."""


class Reception:
    """Finds out who is asking."""

    def __init__(self, kit: Kit) -> None:
        self._keys = kit.keys
        self._inline = kit.books.reads_inline

    async def caller(self, headers: Mapping[str, str], *, request: str, address: str = "") -> Caller:
        """The caller, or Unrecognised."""
        token = tokens.bearer(headers.get("authorization"))
        found = self._keys.remembered(token)
        if found is None:
            found = self._keys.bearer(token) if self._inline else await asyncio.to_thread(self._keys.bearer, token)
        granted = roles.effective(found.role, found.party, found.scopes) if found.role else found.scopes
        return Caller(
            found.organization,
            found.kind,
            granted,
            found.label,
            request,
            found.role,
            found.scopes,
            _asker(found.client, token),
            address=address,
        )


def _asker(client: str, token: str) -> str:
    """Whom to look up again later: a client, whose tokens are short, or a token by its fingerprint."""
    return f"client:{client}" if client else f"token:{tokens.fingerprint(token)}"
