"""Rows about what must be told at once, and how soon."""

from typing import ClassVar, Literal

from service.catalogue.cells import Count, Name, Phrases, Text, YesNo
from service.catalogue.rows import Row


class TierRow(Row):
    """urgent-tiers.csv"""

    key: ClassVar[tuple[str, ...]] = ("tier",)
    tier: Literal["1", "2", "3"]
    title: Text
    priority: Literal["routine", "urgent", "asap", "stat"]
    escalate_minutes: Count
    breach_minutes: Count
    voice: YesNo
    finish_waits: YesNo
    source: Text


class UrgentRow(Row):
    """urgent-findings.csv; triggers: alternatives parted by semicolons, the conditions of each joined by " + "."""

    key: ClassVar[tuple[str, ...]] = ("finding",)
    finding: Name
    title: Text
    tier: Literal["", "1", "2", "3"]
    species: Literal["both", "dog", "cat"]
    triggers: Phrases
    advice: str
    source: Text
