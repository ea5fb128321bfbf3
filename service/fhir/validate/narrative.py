"""The XHTML of a narrative -> what in it is not harmless formatting (R4's txt-1 and txt-2)."""

import re
from collections.abc import Iterator
from xml.etree import ElementTree

_XHTML = "{http://www.w3.org/1999/xhtml}"
_ELEMENTS = frozenset(
    [
        *("a", "abbr", "acronym", "address", "b", "bdo", "big", "blockquote", "br", "caption", "cite", "code", "col"),
        *("colgroup", "dd", "del", "dfn", "div", "dl", "dt", "em", "h1", "h2", "h3", "h4", "h5", "h6", "hr", "i"),
        *("img", "ins", "kbd", "li", "ol", "p", "pre", "q", "samp", "small", "span", "strong", "sub", "sup", "table"),
        *("tbody", "td", "tfoot", "th", "thead", "tr", "tt", "ul", "var"),
    ]
)
_ACTIVE = re.compile(r"^[\s\x00-\x20]*(?:javascript|vbscript|data:text)", re.IGNORECASE)
_STYLE = re.compile(r"url\s*\(|expression\s*\(|@import|behavio", re.IGNORECASE)
_ENTITY = re.compile(r"&(?!#|amp;|lt;|gt;|quot;|apos;)([A-Za-z][A-Za-z0-9]*);")


def unsafe(div: str) -> Iterator[str]:
    """Each thing wrong with a narrative's div, in words."""
    if "<!" in re.sub(r"<!--.*?-->", "", div, flags=re.DOTALL) or "<?" in div:
        yield "txt-1: a narrative holds no declarations or processing instructions"
        return
    try:
        root = ElementTree.fromstring(_ENTITY.sub(" ", div))
    except ElementTree.ParseError:
        yield "txt-1: the narrative is not well-formed XHTML"
        return
    if root.tag != f"{_XHTML}div":
        yield "txt-1: a narrative is one div of the namespace http://www.w3.org/1999/xhtml"
    yield from dict.fromkeys(text for element in root.iter() if isinstance(element.tag, str) for text in _odd(element))
    if not "".join(root.itertext()).strip() and root.find(f".//{_XHTML}img") is None:
        yield "txt-2: a narrative says something"


def _odd(element: ElementTree.Element) -> Iterator[str]:
    name = element.tag.removeprefix(_XHTML)
    if name not in _ELEMENTS:
        yield f"txt-1: the element {name[:30]} is no formatting of text"
    for attribute, value in element.attrib.items():
        plain = attribute.lower()
        if plain.startswith("on") or _ACTIVE.search(value) or (plain == "style" and _STYLE.search(value)):
            yield f"txt-1: the attribute {plain[:30]} of {name[:30]} is active content"
