"""Turns a folder of mappings into texts by relative path, and those into one stored text and back."""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from service.catalogue.faults import CatalogueFaults

# what senders call things: a new row holds for open exams at once, so it is no part of the hash
SENDER_FILES = frozenset({"sites.csv", "properties.csv", "words.csv", "planes.csv"})


def read_folder(path: Path | None = None) -> dict[str, str]:
    """The text of every CSV below `path` (default: the packaged mappings) by relative path, line ends as "\\n".

    Raises CatalogueFaults naming the folder or each file that cannot be read as UTF-8."""
    folder = path or _packaged()
    found = sorted(folder.rglob("*.csv"))
    if not found:
        raise CatalogueFaults([f"{folder}:0: holds no mappings"])
    texts: dict[str, str] = {}
    faults: list[str] = []
    for file in found:
        name = file.relative_to(folder).as_posix()
        try:
            texts[name] = _text(file.read_bytes())
        except UnicodeDecodeError as error:
            faults.append(f"{name}:{_line(error)}: is not UTF-8")
        except OSError as error:
            faults.append(f"{name}:0: cannot be read ({error.strerror})")
    if faults:
        raise CatalogueFaults(faults)
    return texts


def pack(files: Mapping[str, str]) -> str:
    """All files as one text, the same for the same content."""
    return json.dumps(dict(files), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def unpack(text: str) -> dict[str, str]:
    """The files that `pack` made into one text. Raises ValueError when it is none."""
    found = json.loads(text)
    if not isinstance(found, dict) or not all(isinstance(v, str) for v in found.values()):
        raise ValueError("not a packed catalogue")
    return found


def fingerprint(files: Mapping[str, str]) -> str:
    """The sha256, in hex, of what an exam is judged by: all files but those of the senders."""
    judging = {name: text for name, text in files.items() if name not in SENDER_FILES}
    return hashlib.sha256(pack(judging).encode()).hexdigest()


def _packaged() -> Path:
    package = Path(__file__).parent.parent
    inside = package / "mappings"
    return inside if inside.is_dir() else package.parent / "mappings"


def _text(content: bytes) -> str:
    return content.decode("utf-8-sig").replace("\r\n", "\n")


def _line(error: UnicodeDecodeError) -> int:
    return error.object[: error.start].count(b"\n") + 1
