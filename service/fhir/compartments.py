"""A compartment (one Patient, one Practitioner ...) -> the parameters that say what belongs to it."""

from functools import cache
from importlib.resources import files

from service.fhir import exact

FILE = "compartments.json"
ITSELF = "{def}"
"""What R4 writes in place of a parameter where the holder is part of its own compartment."""


@cache
def compartments() -> dict[str, dict[str, list[str]]]:
    """compartment -> type -> reference parameters, any of which puts a resource into it."""
    found: dict[str, dict[str, list[str]]] = exact.decode(files("service.fhir").joinpath(FILE).read_bytes())
    return found
