"""What the chapters of the story share: who talks to whom, the narration, the folder, the figures."""

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from service.demo.client import Client
from service.demo.figures import Figures
from service.demo.instances import Instance, Running
from service.demo.invented import Case
from service.demo.narration import Narration


@dataclass(frozen=True, slots=True)
class Stage:
    """records and scanner are two tokens at the service; archive is the record system itself, as its own people see it.

    clinic is the token of the clinic that refers; running holds the service and the record system; up ends what
    was started."""

    tell: Narration
    folder: Path
    figures: Figures
    service: Instance
    records: Client
    scanner: Client
    archive: Client
    clinic: Client
    running: list[Running]
    up: ExitStack


@dataclass(frozen=True, slots=True)
class Exam:
    """One exam as the service named it: ids of its Task, its order and its animal, and whose exam it is."""

    task: str
    order: str
    animal: str
    case: Case
