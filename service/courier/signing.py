"""A post that goes out as a signed webhook, into the headers that prove who sent it (Standard Webhooks 1.0.0)."""

from collections.abc import Sequence
from datetime import datetime

from service.access import signature


def headers(secrets: Sequence[str], *, key: str, at: datetime, body: bytes) -> dict[str, str]:
    """webhook-id (the post's key, the same over all attempts), webhook-timestamp (of this one) and webhook-signature.

    secrets: as both sides keep them ("whsec_..."): one, or while it is being changed the new and the old one.
    Raises ValueError for what is no such secret."""
    return signature.signed(secrets, id_=key, at=at, body=body)
