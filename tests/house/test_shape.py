"""The house keeps its shape: small files and functions, names that say something, nothing done on import."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SERVICE = sorted((ROOT / "service").rglob("*.py"))
FORBIDDEN = {
    "utils",
    "util",
    "helpers",
    "helper",
    "common",
    "misc",
    "manager",
    "base",
    "handler",
    "data",
    "info",
    "process",
    "stuff",
}
FILE_CAP = 200
FUNCTION_CAP = 40
URI = re.compile(r"https?://(?!127\.0\.0\.1|localhost|HOST|\.\+|\(|\{|$)[A-Za-z{(]")


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def test_there_is_a_house_to_look_at() -> None:
    assert len(SERVICE) > 60


def test_no_file_is_longer_than_two_screens() -> None:
    long = {str(p.relative_to(ROOT)): n for p in SERVICE if (n := p.read_text(encoding="utf-8").count("\n")) > FILE_CAP}
    assert long == {}


def test_no_function_is_longer_than_a_screen() -> None:
    long = [
        f"{p.relative_to(ROOT)}:{f.lineno} {f.name}"
        for p in SERVICE
        for f in functions(p)
        if (f.end_lineno or 0) - f.lineno > FUNCTION_CAP
    ]
    assert long == []


def test_names_say_something() -> None:
    parts = {part for p in SERVICE for part in [*p.relative_to(ROOT).parts[:-1], p.stem]}
    assert parts & FORBIDDEN == set()


def test_every_module_says_what_it_is() -> None:
    silent = [
        str(p.relative_to(ROOT)) for p in SERVICE if not ast.get_docstring(ast.parse(p.read_text(encoding="utf-8")))
    ]
    assert silent == []


def test_every_public_function_of_a_room_makes_a_promise() -> None:
    silent = [
        f"{p.relative_to(ROOT)}:{node.lineno} {node.name}"
        for p in SERVICE
        for node in ast.parse(p.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert silent == []


def test_only_transactions_and_migrations_commit() -> None:
    committing = [
        f"{p.relative_to(ROOT)}:{n}"
        for p in SERVICE
        for n, line in enumerate(p.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"\.commit\(|\bCOMMIT\b", line) and not line.lstrip().startswith("#")
    ]
    assert {c.partition(":")[0] for c in committing} <= {"service/store/session.py", "service/store/migrate.py"}, (
        committing
    )


def test_uris_live_in_one_file() -> None:
    strays = []
    for path in SERVICE:
        if path.name == "uris.py" or "demo" in path.parts:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and URI.match(node.value):
                strays.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.value}")
    assert strays == []


@pytest.mark.parametrize("module", ["service.app", "service.worker", "service.cli"])
def test_nothing_happens_on_import(module: str) -> None:
    watch = (
        "import sys, threading, socket\n"
        "def hook(event, args):\n"
        "    watched = ('socket.connect', 'socket.bind', 'sqlite3.connect', 'subprocess.Popen')\n"
        "    if event in watched: raise SystemExit(event)\n"
        "    writes = event == 'open' and isinstance(args[1], str) and set(args[1]) & set('wax+')\n"
        "    if writes and '.pyc' not in str(args[0]): raise SystemExit(f'open {args[0]} {args[1]}')\n"
        "sys.addaudithook(hook)\n"
        f"import {module}\n"
        "sys.exit(0 if threading.active_count() == 1 else 'a thread was started')\n"
    )
    done = subprocess.run([sys.executable, "-c", watch], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr


def test_the_project_speaks_of_itself_alone() -> None:
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout.split()
    words = re.compile(r"(?<![\w.])/(?:work|root|farm)/\w|\bsubagent\b|\bas an AI\b|\bhelper-\d", re.IGNORECASE)
    found = [
        name
        for name in listed
        if (ROOT / name).is_file() and (ROOT / name).stat().st_size < 1_000_000 and name != "tests/house/test_shape.py"
        if words.search((ROOT / name).read_text(encoding="utf-8", errors="replace"))
    ]
    assert found == []


def test_one_file_names_the_fhir_release() -> None:
    # r4.py imports its classes by name when they are asked for, so an import contract cannot see it
    naming = [
        str(p.relative_to(ROOT))
        for p in SERVICE
        if re.search(r"^\s*(from|import) fhir\b|[\"']fhir\.resources", p.read_text(encoding="utf-8"), re.MULTILINE)
        or "fhir.resources.R4B" in p.read_text(encoding="utf-8")
    ]
    assert naming == ["service/fhir/r4.py"]
