"""A reference as it stands -> the text it is indexed and looked up under."""

import re
from typing import Any

_TYPED = re.compile(r"(?:^|/)([A-Z][A-Za-z]+)/[A-Za-z0-9\-.]{1,64}$")
_VERSION = re.compile(r"/_history/[A-Za-z0-9\-.]{1,64}$")


def plain(link: str) -> str:
    """The reference without its version: a search finds it whatever the version."""
    return _VERSION.sub("", link) if "/_history/" in link else link


def leads_to(reference: dict[str, Any], type_: str) -> bool:
    """Whether a Reference says, by its type or its text, that it leads to `type_`."""
    match = _TYPED.search(plain(reference.get("reference", "")))
    return (match.group(1) if match else reference.get("type")) == type_
