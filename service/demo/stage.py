"""What the chapters of the story share: who talks to whom, the narration, the folder, the figures."""

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

    running holds the service and the record system."""

    tell: Narration
    folder: Path
    figures: Figures
    service: Instance
    records: Client
    scanner: Client
    archive: Client
    running: tuple[Running, Running]


@dataclass(frozen=True, slots=True)
class Exam:
    """One exam as the service named it: ids of its Task, its order and its animal, and whose exam it is."""

    task: str
    order: str
    animal: str
    case: Case
