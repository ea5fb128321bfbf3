"""Words that betray whose they are: each text of an organisation bears a canary, which has a twin that nobody has."""

import json
import re
from base64 import b64decode, b64encode
from itertools import count
from typing import Any
from urllib.parse import unquote_plus

from service.fhir import exact

Json = dict[str, Any]
NOBODY = "x"  # whose canaries stand nowhere
_WORD = re.compile(r"qv([a-z])(\d{5}z)", re.IGNORECASE)
_HIDDEN = re.compile(r"cXZ[A-Za-z0-9+/]{9}")  # a canary in base64
_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")
_NUMBER = re.compile(r"[a-z]+-\d+-[0-9a-f]{8}")  # a business number of the builders
FREE = re.compile(
    r"(text|display|given|family|valueString|name|line|city|description|title|comment|patientInstruction)"
)


class Canaries:
    """Those of one organisation, told by a letter; secrets are what else of it nobody may see: slugs, tokens."""

    def __init__(self, letter: str) -> None:
        self.letter = letter
        self.secrets: dict[str, str] = {}  # to a twin of the same shape that nobody has
        self._numbers = count()

    def word(self) -> str:
        """A new one."""
        return f"qv{self.letter}{next(self._numbers):05d}z"

    def data(self) -> str:
        """A new one in base64."""
        return b64encode(self.word().encode()).decode()

    def marked(self, value: Json) -> Json:
        """A resource with a canary in each free text, the same for equal texts."""
        known: dict[str, str] = {}
        parameters = value.get("resourceType") == "Parameters"

        def walk(one: Any, name: str) -> Any:
            if isinstance(one, dict):
                return {key: walk(inner, key) for key, inner in one.items()}
            if isinstance(one, list):
                return [walk(inner, name) for inner in one]
            free = FREE.fullmatch(name) and not (parameters and name == "name")
            if isinstance(one, str) and free and not one.startswith(("qv", "http", "urn:")):
                return known.setdefault(one, self.word())
            return one

        made = exact.encode({key: walk(one, "") for key, one in value.items()}).decode()
        found: Json = exact.decode(_NUMBER.sub(lambda m: known.setdefault(m[0], self.word()), made).encode())
        return found

    def holds(self, resource: Json) -> None:
        """Count the ids of a resource and of its contents among what nobody else may see."""
        for id_ in _ID.findall(json.dumps(resource, default=str)):
            self.secrets.setdefault(id_, twin_of(id_))

    def twin(self, text: str) -> str:
        """The text with all that is this organisation's turned into what is nobody's."""
        for secret, other in self.secrets.items():
            if secret in text:
                text = text.replace(secret, other)
        return re.sub(rf"qv{self.letter}(\d{{5}}z)", rf"qv{NOBODY}\1", text)

    def in_(self, text: str) -> set[str]:
        """All that is this organisation's in a text, base64 and percent-encoding looked through."""
        found = {m[0].lower() for m in _WORD.finditer(text) if m[1].lower() == self.letter}
        for hidden in _HIDDEN.findall(text):
            found |= {m[0] for m in _WORD.finditer(b64decode(hidden).decode("latin-1")) if m[1] == self.letter}
        found |= self.secrets.keys() & set(_ID.findall(text))
        found |= {one for one in self.secrets if len(one) != 36 and one in text}
        plain = unquote_plus(text)
        return found if plain == text else found | self.in_(plain)


def borrowed(text: str) -> str:
    """A text as another would write it who knows the ids and nothing else."""
    return _HIDDEN.sub(b64encode(b"qvw00000z").decode(), _WORD.sub(r"qvw\2", text))


def ids(text: str) -> set[str]:
    """The ids in a text."""
    return set(_ID.findall(text))


def twin_of(id_: str) -> str:
    """An id that looks like this one and that nothing has."""
    return id_[:-8] + "".join("f" if c != "f" else "0" for c in id_[-8:])
