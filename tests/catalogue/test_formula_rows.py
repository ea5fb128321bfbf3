"""A formula that cannot be read, misses its example, or is asked of what is not there, is told with its line."""

import pytest

from service.catalogue.files import read_folder
from service.catalogue.load import load
from tests.catalogue.broken import said

BROKEN = [
    # file, what stands there, what is put there, start of the line blamed, words of the fault
    ("formulas.csv", "portal / aorta,", "portal / (aorta,", "PVAO,", '")" is missing'),
    ("formulas.csv", "portal / cava,", "portal ^ cava,", "PVCVC,", "cannot be read"),
    ("formulas.csv", "0.523 * length", "0.532 * length", "KVOL,", "the example comes to 17.2, not 16.9"),
    ("formulas.csv", "length=62 aorta=8.5", "length=62 aorta=0", "KAO,", "cannot be computed"),
    ("formulas.csv", "length=62 aorta=8.5", "length=62", "KAO,", "worked must give length, aorta"),
    ("formulas.csv", "mm,1,,A", "mm,,,A", "PRON,", "a unit and its decimals"),
    (
        "formulas.csv",
        "dcm,126029,LWH method for volume of ellipsoid,length=4.73",
        "dcm,,,length=4.73",
        "KVOL,",
        "together",
    ),
    ("formula-bands.csv", "SLUDGE,50", "SLUDGE,20", "SLUDGE,20", "must rise"),
    ("formula-bands.csv", "SLUDGE,75", "MUD,75", "MUD,75", 'formula "MUD"'),
    ("computations.csv", "KAO,dog", "FLAG,dog", "FLAG,dog", "computes nothing"),
    (
        "computations.csv",
        "KAO,dog,kidney_left kidney_right",
        "KAO,dog,kidney_left liver",
        "KAO,dog",
        "liver of the dog",
    ),
    (
        "computations.csv",
        'aorta=aorta.luminal-diameter,,aorta-ratio,,,"the aorta near',
        'aorta=aorta.bore,,aorta-ratio,,,"the aorta near',
        "KAO,dog",
        "aorta.bore is no measurement",
    ),
    (
        "computations.csv",
        "cava=*.luminal-diameter-iliac",
        "vein=*.luminal-diameter-iliac",
        "CVCAO,both,caudal_vena_cava,aorta-ratio-iliac",
        "the formula needs cava",
    ),
    (
        "computations.csv",
        "volume=*.residual-volume weight=weight",
        "volume=gallbladder.volume weight=weight",
        "URV,both",
        "unseen",
    ),
    ("computations.csv", "thickest=*.wall-thickness|max", "thickest=*.wall-thickness|most", "WALLR,both", "is written"),
    (
        "finding-readings.csv",
        "fluid-cystocolic,none",
        "fluid-cystocolic,nothing",
        "peritoneum,fluid-cystocolic",
        "has no",
    ),
    ("repeatability.csv", "pelvis-width,,both", "pelvis-depth,,both", "pelvis-depth,", "pelvis-depth"),
    (
        "repeatability.csv",
        "duodenum jejunum,both,20%",
        "duodenum duodenum,both,20%",
        "wall-thickness,duodenum",
        "already",
    ),
]


@pytest.mark.parametrize(("file", "old", "new", "start", "words"), BROKEN)
def test_a_broken_row_is_told_with_file_and_line(file: str, old: str, new: str, start: str, words: str) -> None:
    before = read_folder()[file]
    number = next(n for n, line in enumerate(before.replace(old, new).split("\n"), 1) if line.startswith(start))
    found = said(file, old, new)
    assert any(f.startswith(f"{file}:{number}: ") and words in f for f in found), found


def test_a_computation_comes_after_what_it_needs() -> None:
    files = read_folder()
    lines = files["computations.csv"].split("\n")
    moved = next(i for i, line in enumerate(lines) if line.startswith("GBVKG,"))
    lines.insert(1, lines.pop(moved))
    with pytest.raises(Exception, match="GBVKG needs gallbladder volume, which comes later"):
        load({**files, "computations.csv": "\n".join(lines)})
