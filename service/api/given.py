"""The bare request: method, headers, parameters and the type of answer it asks for."""

from service.api import media
from service.api.ask import pairs
from service.api.door import Scope
from service.basics.errors import Fault, TooLarge


class Given:
    """What the wire says, before anyone asked whether it may."""

    __slots__ = ("address", "head", "headers", "id", "kind", "method", "params", "query", "type", "version", "within")

    def __init__(self, scope: Scope) -> None:
        self.address: str = (scope.get("client") or ("",))[0]
        self.head = scope["method"] == "HEAD"
        self.method: str = "GET" if self.head else scope["method"]
        path: dict[str, str] = scope["path_params"]
        self.type = path.get("type", "")
        self.within = f"{path['within']}/{path['id']}" if "within" in path else ""
        self.id = "" if self.within else path.get("id", "")
        self.version = path.get("version", "")
        self.query: bytes = scope["query_string"]
        self.headers = _headers(scope["headers"])
        self.params: list[tuple[str, str]] = []
        self.kind = media.answer_type("")

    def read(self, *, limit: int, files: bool = False) -> None:
        """Read the parameters and settle the type of the answer. Raises TooLarge, Invalid or NotAcceptable.

        files: the answer may be a file of any type, so Accept (_format before it) is left to the interaction."""
        if len(self.query) > limit:
            raise TooLarge(Fault("too-long", f"The URL is longer than {limit} bytes; post a long search to _search."))
        if self.query:
            self.params = pairs(self.query.decode("latin-1"))
        if files:
            self.headers["accept"] = self.last("_format") or self.headers.get("accept", "")
        else:
            self.kind = media.answer_type(self.headers.get("accept", ""), self.last("_format"))

    def last(self, name: str) -> str:
        """The last value of a parameter, "" without it."""
        return next((value for key, value in reversed(self.params) if key == name), "")


def _headers(raw: list[tuple[bytes, bytes]]) -> dict[str, str]:
    """The headers by name in lower case; one that came twice is joined as HTTP joins them."""
    found: dict[str, str] = {}
    for key, value in raw:
        name, text = key.decode("latin-1"), value.decode("latin-1")
        found[name] = f"{found[name]}, {text}" if name in found else text
    return found
