"""Two empty installations into organisations, tokens and a destination, by the commands a person would type."""

import json
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from service.demo import invented
from service.demo.instances import Instance

ORDERS = (
    "system/Patient.crs", "system/RelatedPerson.crs", "system/Organization.crs", "system/Practitioner.crs",
    "system/PractitionerRole.crs", "system/ServiceRequest.crs", "system/Task.rs",
)  # fmt: skip
REFERS = (*ORDERS, "system/DiagnosticReport.rs", "system/Observation.rs")
SCANS = (
    "system/Media.crs", "system/Observation.crs", "system/Task.rus", "system/Patient.r", "system/DiagnosticReport.rs",
    "system/Invoice.rs", "system/ChargeItem.rs",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tokens:
    """Of the record system, the scanning room and the clinic at the service; of the practice at the record system."""

    records: str
    scanner: str
    archive: str
    clinic: str


def commands(there: Instance) -> list[str]:
    """What is typed, for people to read; the long parts shortened."""
    at = f"--organization {invented.PRACTICE_SLUG}"
    return [
        f'sonoledger organization add "{invented.PRACTICE}" --billing billing.json',
        f"sonoledger token create {at} --scope system/ServiceRequest.crs ...",
        f"sonoledger agreement add {at} {invented.AGREEMENT} --clinic {invented.CLINIC_SLUG} --by ...",
        f"sonoledger destination add {at} {invented.DESTINATION} {there.base} --authorization FILE",
    ]


def organisations(service: Instance, archive: Instance, private: Path) -> str:
    """Make the practice here and the record system there; the token of the practice at the record system.

    private: a folder for what nobody else may read."""
    billing = private / "billing.json"
    billing.write_text(json.dumps(invented.BILLING), encoding="utf-8")
    with ThreadPoolExecutor(2) as pool:
        kind = ("--kind", "records", "--label", invented.PRACTICE, "--scope", "system/*.cruds")
        token = pool.submit(archive.command, "token", "create", "--organization", invented.RECORDS, *kind)
        service.command("organization", "add", invented.PRACTICE, "--kind", "practice", "--billing", str(billing))
        service.command("organization", "add", invented.CLINIC, "--kind", "clinic")
        return token.result()


def access(service: Instance, archive: Instance, private: Path, *, carried: str) -> Tokens:
    """Tokens for the two who talk to the service, and the destination that its courier carries to."""
    authorization = _secret(private / "authorization", f"Bearer {carried}")
    at = ("--organization", invented.PRACTICE_SLUG)
    there = (invented.DESTINATION, archive.base, "--authorization", str(authorization))
    agreed = (invented.AGREEMENT, "--clinic", invented.CLINIC_SLUG, "--by", invented.INTERPRETER)
    with ThreadPoolExecutor(3) as pool:
        records = pool.submit(_token, service, "record system", ORDERS)
        scanner = pool.submit(_token, service, "scanning room", SCANS)
        destination = pool.submit(service.command, "destination", "add", *at, *there)
        agreement = pool.submit(service.command, "agreement", "add", *at, *agreed)
        clinic = pool.submit(_token, service, "clinic", REFERS, organization=invented.CLINIC_SLUG)
        destination.result(), agreement.result()
        return Tokens(records.result(), scanner.result(), carried, clinic.result())


def _token(
    service: Instance, label: str, scopes: tuple[str, ...], *, organization: str = invented.PRACTICE_SLUG
) -> str:
    words = [word for scope in scopes for word in ("--scope", scope)]
    return service.command("token", "create", "--organization", organization, "--label", label, *words)


def _secret(path: Path, text: str) -> Path:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(text)
    return path
