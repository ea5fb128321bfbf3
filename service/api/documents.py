"""The description and its reading pages, all from our own files: nothing is fetched from elsewhere."""

from functools import lru_cache
from importlib.resources import files

from starlette.routing import Route

from service.api import door, outcomes
from service.api.answers import Answer
from service.api.capability import Parameters
from service.api.description import openapi
from service.api.door import NOTE, Note, Receive, Scope, Send
from service.api.kit import Kit
from service.basics.errors import Fault, NotAllowed
from service.fhir import exact

_PAGES = {"/docs": ("docs.html", b"text/html"), "/docs/docs.js": ("docs.js", b"text/javascript")}
_PAGES |= {"/docs/docs.css": ("docs.css", b"text/css")}
_POLICY = (
    b"content-security-policy",
    b"default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; base-uri 'none'; "
    b"form-action 'none'; frame-ancestors 'none'",
)


class Document:
    """An ASGI endpoint for one fixed text."""

    def __init__(self, kit: Kit, name: str) -> None:
        self._kit = kit
        self._name = name

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        note.route = note.action = self._name
        if scope["method"] not in {"GET", "HEAD"}:
            refusal = NotAllowed(Fault("not-supported", f"{self._name} can only be read."))
            await door.reply(send, outcomes.refused(refusal, allow="GET, HEAD"))
            return
        await door.reply(send, self._answer(), head=scope["method"] == "HEAD")

    def _answer(self) -> Answer:
        if self._name == "/openapi.json":
            return Answer(200, _text(self._kit.version, self._kit.parameters), media=b"application/json")
        file, kind = _PAGES[self._name]
        return Answer(200, _page(file), (_POLICY,), media=kind + b"; charset=utf-8")


def routes(kit: Kit) -> list[Route]:
    """The routes of the description and its pages."""
    return [Route(name, Document(kit, name)) for name in ("/openapi.json", *_PAGES)]


@lru_cache(maxsize=8)
def _page(file: str) -> bytes:
    return (files("service.api") / "pages" / file).read_bytes()


@lru_cache(maxsize=4)
def _text(version: str, parameters: Parameters) -> bytes:
    return exact.encode(openapi(version=version, parameters=parameters))
