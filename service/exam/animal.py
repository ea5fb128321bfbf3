"""The animal as the survey needs to know it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.basics.coding import Identifier


@dataclass(frozen=True, slots=True)
class Animal:
    """species is "dog" or "cat"; sex "male", "female" or "" (unknown, never guessed); neutered None when unknown."""

    id: str
    species: str
    sex: str = ""
    neutered: bool | None = None
    name: str = ""
    identifiers: tuple[Identifier, ...] = ()
    breed: str = ""
    born: date | None = None
    dead: bool = False
    weight_kg: Decimal | None = None
    weight_at: str = ""
    scrotal_testes: int | None = None  # None: not counted
    pregnant: bool | None = None
    uterus: bool | None = None  # of a neutered female: whether the uterus was left; None: not known
    in_heat: bool | None = None  # signs of heat
