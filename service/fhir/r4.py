"""FHIR type name -> model class; the one file that names the FHIR release.

There is no R4 package: these are R4B's classes, which equal R4 for the types used here but for a few elements
that service.fhir.validate refuses. Each class is read in when first asked for: all of them cost a second."""

from functools import cache
from importlib import import_module
from typing import Any

VERSION = "4.0.1"


@cache
def model(type_name: str) -> Any:
    """The class that reads and builds resources or data types of this name; KeyError when FHIR has no such type."""
    try:
        module = import_module(f"fhir.resources.R4B.{type_name.lower()}")
        return getattr(module, type_name)
    except (ImportError, AttributeError) as error:
        raise KeyError(type_name) from error


def __getattr__(name: str) -> Any:
    """Any class by its FHIR name: r4.Patient, r4.ServiceRequest, r4.Invoice ..."""
    if not name[:1].isupper():
        raise AttributeError(name)
    try:
        return model(name)
    except KeyError as error:
        raise AttributeError(name) from error
