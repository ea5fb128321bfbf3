"""The shipped mappings with something changed, to see what the check says."""

from service.catalogue.check import faults
from service.catalogue.files import read_folder


def said(file: str, old: str, new: str) -> list[str]:
    """The faults after replacing the one place where `old` stands in a file."""
    files = read_folder()
    assert files[file].count(old) == 1, f"{old!r} stands {files[file].count(old)} times in {file}"
    files[file] = files[file].replace(old, new)
    return faults(files)


def line_of(file: str, start: str) -> int:
    """The number of the one line of a shipped file that starts so."""
    found = [n for n, line in enumerate(read_folder()[file].split("\n"), 1) if line.startswith(start)]
    assert len(found) == 1, f"{start!r} starts {len(found)} lines of {file}"
    return found[0]
