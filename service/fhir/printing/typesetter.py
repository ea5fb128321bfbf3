"""A process of its own: framed data on stdin into tagged PDFs on stdout, until stdin ends or nothing comes for long.

Run as a script, so that it loads nothing of the service: python -I typesetter.py TEMPLATE... A frame is four bytes of
length, then JSON whose "template" is the stem of a template's file; an answer is one byte (P: a PDF, E: what was
wrong), four bytes of length, then its bytes."""

import json
import select
import struct
import sys
from datetime import datetime
from io import FileIO
from pathlib import Path
from typing import Any

import typst

IDLE = 60.0  # seconds without work after which the memory is given back
MOST = 500  # documents after which a fresh process takes over
LENGTH = struct.Struct(">I")


def main(templates: list[Path], source: FileIO, target: FileIO) -> None:
    """Answer every frame of source on target; ends by itself when idle for IDLE seconds or after MOST documents."""
    texts = {one.stem: one.read_bytes() for one in templates}
    compiler = typst.Compiler(b"", font_paths=typst.Fonts(include_system_fonts=False), ignore_system_fonts=True)
    for _ in range(MOST):
        if not select.select([source], [], [], IDLE)[0]:
            return
        head = _taken(source, LENGTH.size)
        if len(head) < LENGTH.size:
            return
        kind, body = _answer(compiler, texts, _taken(source, LENGTH.unpack(head)[0]))
        _send(target, kind + LENGTH.pack(len(body)) + body)


def _answer(compiler: typst.Compiler, templates: dict[str, bytes], body: bytes) -> tuple[bytes, bytes]:
    try:
        data = json.loads(body)
        return b"P", _typeset(compiler, templates[data.pop("template")], data)
    except (typst.TypstError, ValueError, TypeError, KeyError) as error:
        return b"E", type(error).__name__.encode()


def _typeset(compiler: typst.Compiler, template: bytes, data: dict[str, Any]) -> bytes:
    """The PDF of the data: every text of it reaches the template as a string, never as markup."""
    made = compiler.compile(
        input=template,
        format="pdf",
        sys_inputs={"data": json.dumps(data)},
        pdf_standards=["ua-1"],
        timestamp=datetime.fromisoformat(data["issued"]).replace(microsecond=0),  # PDF has whole seconds
    )
    if not isinstance(made, bytes):
        raise TypeError("one document was expected")
    return made


def _taken(source: FileIO, wanted: int) -> bytes:
    """So many bytes, fewer at the end. Unbuffered, so that select() never overlooks what was read ahead."""
    found = b""
    while len(found) < wanted:
        more = source.read(wanted - len(found))
        if not more:
            break
        found += more
    return found


def _send(target: FileIO, answer: bytes) -> None:
    sent = 0
    while sent < len(answer):
        sent += target.write(answer[sent:]) or 0


if __name__ == "__main__":
    main([Path(one) for one in sys.argv[1:]], FileIO(0, closefd=False), FileIO(1, "w", closefd=False))
