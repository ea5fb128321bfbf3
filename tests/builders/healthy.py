"""What a sonographer would measure in an animal in good health: invented figures, within what is usual for its size."""

from collections.abc import Iterable, Mapping
from typing import Any

from tests.builders.scanner import Scanner
from tests.builders.survey import mappings, measurement

Json = dict[str, Any]

DOG = {  # of about 12 kg, in millimetres
    ("gallbladder", "wall-thickness"): "0.9",
    ("kidney_left", "length"): "55.2",
    ("kidney_right", "length"): "56.0",
    ("adrenal_left", "dorsoventral-thickness"): "5.1",
    ("adrenal_right", "dorsoventral-thickness"): "5.6",
    ("urinary_bladder", "wall-thickness"): "1.6",
    ("prostate", "length"): "38.0",
    ("prostate", "width"): "36.5",
    ("prostate", "height"): "29.4",
    ("stomach_fundus_body", "wall-thickness"): "3.6",
    ("duodenum", "wall-thickness"): "4.2",
    ("jejunum", "wall-thickness"): "3.4",
    ("aorta", "luminal-diameter"): "8.0",
    ("peritoneum", "fluid-score"): "0",
}
CAT = {  # of about 4 kg, in millimetres
    ("gallbladder", "wall-thickness"): "0.8",
    ("spleen", "thickness"): "8.1",
    ("kidney_left", "length"): "38.4",
    ("kidney_right", "length"): "39.0",
    ("adrenal_left", "dorsoventral-thickness"): "3.4",
    ("adrenal_right", "dorsoventral-thickness"): "3.5",
    ("urinary_bladder", "wall-thickness"): "1.3",
    ("stomach_fundus_body", "wall-thickness"): "1.9",
    ("duodenum", "wall-thickness"): "2.2",
    ("jejunum", "wall-thickness"): "2.3",
    ("ileum", "wall-thickness"): "2.8",
    ("aorta", "luminal-diameter"): "3.9",
    ("peritoneum", "fluid-score"): "0",
}


class Sonographer(Scanner):
    """Sends all that is owed with usual figures, and in their place what this animal has.

    measures: (structure, measure) to its value; words: (structure, attribute) to the value of its vocabulary."""

    def __init__(
        self,
        order: str,
        animal: str,
        *,
        measures: Mapping[tuple[str, str], str] | None = None,
        words: Mapping[tuple[str, str], str] | None = None,
        **more: Any,
    ) -> None:
        super().__init__(order, animal, **more)
        self.measures = {**(DOG if self.species == "dog" else CAT), **(measures or {})}
        self.words = {("urinary_bladder", "fill"): "moderate", **(words or {})}

    def all_of(self, tasks: Iterable[Json], *, but: Iterable[str] = ()) -> list[Json]:
        """All that these steps owe, without some of them; urgent findings wait for a person, not for a scanner."""
        steps = mappings().protocols[self.species].by_code.keys() - set(but)
        return [r for t in tasks if t["code"]["coding"][0]["code"] in steps for r in self.owed_by(t)]

    def _measure(self, structure: str, key: str) -> Json:
        rule = mappings().measures[self.species, structure, key]
        value = self.measures[structure, key]
        return measurement(structure, key, value, unit=rule.unit, at=self.at, plane="long")

    def _word(self, structure: str, key: str) -> str:
        vocabulary = mappings().structures[structure].vocabulary
        if (structure, key) in self.words:
            return f"{vocabulary}.{key}.{self.words[structure, key]}"
        return super()._word(structure, key)
