"""What is answered to a message, a document or a webhook, into what follows for the post."""

from typing import Any

from service.courier import found, verdict
from service.courier.answer import Answer
from service.courier.verdict import Verdict

Json = dict[str, Any]


def to_message(answer: Answer) -> Verdict:
    """R4 lets $process-message answer with a message whose header says ok or not, an OperationOutcome, or nothing."""
    if not 200 <= answer.status < 300:
        return verdict.judge(answer, sent=b"")
    back = found.content(answer)
    if back is None:
        return _unread(answer)
    header = _header(back)
    code = header.get("response", {}).get("code", "ok")
    if code == "transient-error":
        return Verdict(verdict.WAITING, "the message was answered with a transient-error", answer.retry_after)
    if code != "ok" or _failed(back):
        return Verdict(verdict.DEAD, f"the message was answered with {'fatal-error' if code != 'ok' else 'an error'}")
    return Verdict(verdict.DELIVERED, f"answered {answer.status}: the message was taken")


def to_document(answer: Answer) -> Verdict:
    """A document is there when it was created, or one with its identifier was found."""
    if answer.status == 202 or not 200 <= answer.status < 300:
        return verdict.judge(answer, sent=b"")
    back = found.content(answer)
    if back is None:
        return _unread(answer)
    if _failed(back):
        return Verdict(verdict.DEAD, f"answered {answer.status} with an error inside")
    return Verdict(verdict.DELIVERED, f"answered {answer.status}: the document is there")


def to_webhook(answer: Answer) -> Verdict:
    """Any 2xx is a delivery (Standard Webhooks 1.0.0); what else is said with it is not looked at."""
    if 200 <= answer.status < 300:
        return Verdict(verdict.DELIVERED, f"answered {answer.status}")
    return verdict.judge(answer, sent=b"")


def _unread(answer: Answer) -> Verdict:
    if not answer.encoding and answer.whole and not answer.body.strip():
        return Verdict(verdict.DELIVERED, f"answered {answer.status}")
    # a sign-in or maintenance page of a proxy, most likely: it goes away, and a repeat does no harm
    return Verdict(verdict.WAITING, f"answered {answer.status} with something that is not FHIR JSON")


def _header(back: Json) -> Json:
    entries = back.get("entry", []) if back["resourceType"] == "Bundle" else []
    first = entries[0].get("resource", {}) if entries and isinstance(entries[0], dict) else {}
    return first if isinstance(first, dict) and first.get("resourceType") == "MessageHeader" else {}


def _failed(back: Json) -> bool:
    issues = back.get("issue", []) if back["resourceType"] == "OperationOutcome" else []
    return any(one.get("severity") in ("error", "fatal") for one in issues if isinstance(one, dict))
