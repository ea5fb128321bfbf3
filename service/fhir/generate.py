"""HL7's R4 definitions -> the data files the service carries: `python -m service.fhir.generate FOLDER`."""

import gzip
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from service.fhir import compartments, definitions, exact, outlines, partial
from service.fhir.search import definitions as search_definitions
from service.fhir.search import reduction
from service.fhir.search import table as search_table
from service.fhir.validate import compiled, schema

_HERE = Path(__file__).parent


def files(folder: Path) -> dict[Path, bytes]:
    """Every generated file with its content, from the definitions in `folder`."""
    found = definitions.read(folder)
    return {
        _HERE / "search" / search_table.FILE: _lines(reduction.table(found)),
        _HERE / partial.FILE: _one_a_line(outlines.outlines(found)),
        _HERE / compartments.FILE: _lines(outlines.compartments(found)),
        _HERE / "search" / search_definitions.FILE: _packed(exact.encode(search_definitions.facts(found.search))),
        _HERE / "validate" / compiled.FILE: _packed(_one_a_line(schema.build(found))),
    }


def _packed(content: bytes) -> bytes:
    return gzip.compress(content, mtime=0)


def _lines(value: dict[str, dict[str, Any]]) -> bytes:
    """JSON with one row a line, so that a change can be read."""
    return b"{\n" + b",\n".join(_entry(name, rows) for name, rows in value.items()) + b"\n}\n"


def _one_a_line(value: dict[str, Any]) -> bytes:
    return b"{\n" + b",\n".join(exact.encode(k) + b": " + exact.encode(v) for k, v in value.items()) + b"\n}\n"


def _entry(name: str, rows: dict[str, Any]) -> bytes:
    inner = (exact.encode(key) + b": " + exact.encode(row) for key, row in rows.items())
    return exact.encode(name) + b": {\n" + b",\n".join(inner) + b"\n}"


def main() -> Iterator[str]:
    """Write them all, and say which."""
    for path, content in files(Path(sys.argv[1])).items():
        path.write_bytes(content)
        yield f"{path.name}: {len(content)} bytes"


if __name__ == "__main__":
    sys.stdout.writelines(f"{line}\n" for line in main())
