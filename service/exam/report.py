"""Turns the facts of one exam into its report: sections in the catalogue's order, each a list of statements."""

from service.exam.report_facts import Edition, Preparation, ReportFacts
from service.exam.report_parts import Line, Measurement, Report, Rules, Section, Statement

__all__ = [
    "Edition",
    "Line",
    "Measurement",
    "Preparation",
    "Report",
    "ReportFacts",
    "Rules",
    "Section",
    "Statement",
]
