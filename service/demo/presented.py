"""A DiagnosticReport into the text or page that it presents to people."""

from base64 import b64decode

from service.demo.client import Json


def text_of(report: Json, kind: str = "text/plain") -> str:
    """The report as text or (text/html) as a page."""
    form = next(f for f in report["presentedForm"] if f["contentType"].startswith(kind))
    return b64decode(form["data"]).decode()
