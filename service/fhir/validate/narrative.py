"""The XHTML of a narrative -> what in it is not harmless formatting (R4's txt-1 and txt-2)."""

import re
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

from service.basics.errors import Fault

_XHTML = "{http://www.w3.org/1999/xhtml}"
_NAMES = (
    "a abbr acronym address b bdo big blockquote br caption cite code col colgroup dd del dfn div dl dt em h1 h2 h3 h4 "
    "h5 h6 hr i img ins kbd li ol p pre q samp small span strong sub sup table tbody td tfoot th thead tr tt ul var"
)
_ELEMENTS = frozenset(f"{_XHTML}{name}" for name in _NAMES.split(" "))
_SHOWN_EMPTY = (f"{_XHTML}img", f"{_XHTML}pre")  # a pre keeps its white space
_ACTIVE = re.compile(r"[\x00-\x20]*(?:javascript|vbscript|data:text)", re.IGNORECASE)
_STYLE = re.compile(r"url\s*\(|expression\s*\(|@import|behavio", re.IGNORECASE)
_DEEPEST, _FED = 200, 32_768
_ENTITY = re.compile(r"&(?!amp;|lt;|gt;|quot;|apos;)[A-Za-z][A-Za-z0-9]*;")  # HTML's own, which XML does not know


def broken(resource: dict[str, Any]) -> Iterator[Fault]:
    """Each thing wrong with the narrative of a resource or of a Composition's sections."""
    kind = resource["resourceType"]
    yield from _of_holder(resource, kind)
    yield from _sections(resource.get("section"), f"{kind}.section")


def _sections(sections: Any, place: str) -> Iterator[Fault]:
    for at, section in enumerate(sections if isinstance(sections, list) else []):
        if isinstance(section, dict):
            yield from _of_holder(section, f"{place}[{at}]")
            yield from _sections(section.get("section"), f"{place}[{at}].section")


def _of_holder(holder: dict[str, Any], place: str) -> Iterator[Fault]:
    text = holder.get("text")
    div = text.get("div") if isinstance(text, dict) else None
    if isinstance(div, str):
        yield from (Fault("invariant", words, f"{place}.text.div") for words in unsafe(div))


def unsafe(div: str) -> Iterator[str]:
    """Each thing wrong with a narrative's div, in words."""
    if "<?" in div or div.count("<!") != div.count("<!--"):
        yield "txt-1: a narrative holds no declarations or processing instructions"
        return
    try:
        read = _Read()
        parser = ElementTree.XMLParser(target=read)  # without declarations nothing can be expanded
        plain = _ENTITY.sub("\u25a1", div) if "&" in div else div
        for start in range(0, len(plain), _FED):  # what is too deep is given up before all of it was read
            parser.feed(plain[start : start + _FED])
        parser.close()
        yield from read.told()
    except _TooDeep:
        yield f"txt-1: the elements of a narrative lie at most {_DEEPEST} deep in each other"
    except (ElementTree.ParseError, ValueError):
        yield "txt-1: the narrative is not well-formed XHTML"


class _TooDeep(Exception):
    """There are more elements in each other than anyone writes."""


class _Read:
    """What a parser finds in a narrative, element by element, so that a long one takes no room."""

    def __init__(self) -> None:
        self._depth = 0
        self._says = False
        self._wrong: dict[str, None] = {}

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if not self._depth and tag != f"{_XHTML}div":
            self._wrong["txt-1: a narrative is one div of the namespace http://www.w3.org/1999/xhtml"] = None
        self._depth += 1
        if self._depth > _DEEPEST:
            raise _TooDeep
        if attributes or tag not in _ELEMENTS:
            self._wrong |= dict.fromkeys(_odd(tag, attributes))
        self._says = self._says or tag in _SHOWN_EMPTY

    def end(self, _tag: str) -> None:
        self._depth -= 1

    def data(self, text: str) -> None:
        self._says = self._says or bool(text.strip())

    def told(self) -> list[str]:
        """All that is wrong, in words."""
        return [*self._wrong, *([] if self._says else ["txt-2: a narrative says something"])]


def _odd(tag: str, attributes: dict[str, str]) -> Iterator[str]:
    name = tag.removeprefix(_XHTML)[:30]
    if tag not in _ELEMENTS:
        yield f"txt-1: the element {name} is no formatting of text"
    for attribute, value in attributes.items():
        plain = attribute.lower()
        if plain.startswith("on") or _ACTIVE.match(value) or (plain == "style" and _STYLE.search(value)):
            yield f"txt-1: the attribute {plain[:30]} of {name} is active content"
