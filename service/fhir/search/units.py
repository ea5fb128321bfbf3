"""UCUM units this trade writes -> a unit of the same kind and how many of it they are; a closed table."""

from collections.abc import Mapping
from decimal import Decimal

_KINDS: Mapping[str, Mapping[str, str]] = {
    "mm": {"mm": "1", "cm": "10", "dm": "100", "m": "1000", "um": "0.001", "km": "1000000"},
    "mm2": {"mm2": "1", "cm2": "100", "m2": "1000000"},
    "mL": {
        "mL": "1", "ml": "1", "L": "1000", "l": "1000", "dL": "100", "dl": "100", "uL": "0.001", "ul": "0.001",
        "cm3": "1", "mm3": "0.001",
    },
    "cm/s": {"cm/s": "1", "m/s": "100", "mm/s": "0.1"},
    "kg": {"kg": "1", "g": "0.001", "mg": "0.000001", "ug": "0.000000001"},
    "s": {"s": "1", "ms": "0.001", "min": "60", "h": "3600", "d": "86400", "wk": "604800", "mo": "2629800",
          "a": "31557600"},
    "1": {"1": "1", "%": "0.01", "{score}": "1", "{ratio}": "1"},
    "/min": {"/min": "1", "{beats}/min": "1", "/s": "60", "Hz": "60", "kHz": "60000", "MHz": "60000000"},
    "mm[Hg]": {"mm[Hg]": "1"},
    "kPa": {"kPa": "1", "Pa": "0.001"},
    "mmol/L": {"mmol/L": "1", "mol/L": "1000", "umol/L": "0.001", "nmol/L": "0.000001"},
    "g/L": {"g/L": "1", "g/dL": "10", "mg/dL": "0.01", "mg/L": "0.001", "ug/L": "0.000001"},
    "Cel": {"Cel": "1"},
    "deg": {"deg": "1"},
}  # fmt: skip

UNITS: Mapping[str, tuple[str, Decimal]] = {
    unit: (kind, Decimal(factor)) for kind, units in _KINDS.items() for unit, factor in units.items()
}
"""unit -> (unit of the same kind that the index keeps, how many of it one is)."""
