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
        root = ElementTree.fromstring(_ENTITY.sub("\u25a1", div) if "&" in div else div)
    except (ElementTree.ParseError, ValueError):
        yield "txt-1: the narrative is not well-formed XHTML"
        return
    if root.tag != f"{_XHTML}div":
        yield "txt-1: a narrative is one div of the namespace http://www.w3.org/1999/xhtml"
    odd = [one for one in root.iter() if one.attrib or one.tag not in _ELEMENTS]
    yield from dict.fromkeys(words for element in odd for words in _odd(element))
    if not any(text.strip() for text in root.itertext()) and not any(one.tag in _SHOWN_EMPTY for one in root.iter()):
        yield "txt-2: a narrative says something"


def _odd(element: ElementTree.Element) -> Iterator[str]:
    name = element.tag.removeprefix(_XHTML)[:30]
    if element.tag not in _ELEMENTS:
        yield f"txt-1: the element {name} is no formatting of text"
    for attribute, value in element.attrib.items():
        plain = attribute.lower()
        if plain.startswith("on") or _ACTIVE.match(value) or (plain == "style" and _STYLE.search(value)):
            yield f"txt-1: the attribute {plain[:30]} of {name} is active content"
