"""Printing: data for the template into a tagged PDF, in a process of its own."""

from service.fhir.printing.press import Press, press

__all__ = ["Press", "press"]
