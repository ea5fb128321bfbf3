"""A browser's Origin into the headers that let a page of a configured origin ask and read (CORS)."""

from service.api.answers import Answer, Header

METHODS = b"GET, HEAD, POST, PUT, PATCH, DELETE"
ASKED = (
    b"Accept, Authorization, Content-Type, If-Match, If-Modified-Since, If-None-Exist, If-None-Match, Prefer, "
    b"X-Request-Id"
)
SHOWN = (
    b"Accept-Patch, Allow, Content-Location, ETag, Last-Modified, Location, Retry-After, WWW-Authenticate, "
    b"X-Correlation-Id, X-Request-Id"
)
_VARY: Header = (b"vary", b"Origin")


class Cors:
    """Whose pages may ask. Any other page is told nothing, so that its browser keeps our answers from it."""

    def __init__(self, origins: tuple[str, ...]) -> None:
        self._origins = frozenset(origin.encode() for origin in origins)

    def headers(self, asked: list[Header]) -> tuple[Header, ...]:
        """What every answer to such a request bears besides."""
        if not self._origins:
            return ()
        origin = _given(asked, b"origin")
        if origin not in self._origins:
            return (_VARY,)
        return (_VARY, (b"access-control-allow-origin", origin), (b"access-control-expose-headers", SHOWN))

    def preflight(self, method: str, asked: list[Header]) -> Answer | None:
        """The answer to a browser that asks whether it may ask; None for any other request.

        It comes without a token, so it is given before anyone is asked for one."""
        if method != "OPTIONS" or not _given(asked, b"access-control-request-method"):
            return None
        if _given(asked, b"origin") not in self._origins:
            return None
        allowed = (b"access-control-allow-methods", METHODS), (b"access-control-allow-headers", ASKED)
        return Answer(204, headers=(*allowed, (b"access-control-max-age", b"600")))


def _given(headers: list[Header], name: bytes) -> bytes:
    return next((value for key, value in headers if key == name), b"")
