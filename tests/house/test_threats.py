"""Each attack that the developers' page lists names a test that exists; and it lists all that we said we would test.

Published: OWASP API Security Top 10 2023 (API1 to API10); OWASP ASVS 5.0, of which these items concern this service."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROW = re.compile(r"^\| ((?:API\d+|V\d[\d.]*)(?:, (?:API\d+|V\d[\d.]*))*) \| ([^|]+) \| ([^|]+) \|$", re.M)
FILE = re.compile(r"([\w/]+\.py) ((?:`test_\w+`(?:, )?)+)")
VERIFIED = (
    "V1.2.4, V1.3.6, V1.5.1, V2.3.3, V2.3.4, V5.2.3, V8.2.1, V8.2.2, V8.4.1, V9.1.1, V9.1.2, V9.1.3, V9.2.1, V9.2.2, "
    "V9.2.3, V9.2.4, V13.2.4, V13.3.1, V13.4.5, V15.3.2, V15.3.3, V15.3.7, V16.2.5, V16.4.1, V16.5.1, V16.5.3"
)
ITEMS = {f"API{n}" for n in range(1, 11)} | set(VERIFIED.split(", "))


def test_each_attack_names_a_test_that_is_there() -> None:
    rows = ROW.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert {item for items, _, _ in rows for item in items.split(", ")} == ITEMS
    files = [(items, *one) for items, _, tests in rows for one in FILE.findall(tests)]
    named = [(items, file, name) for items, file, names in files for name in re.findall(r"test_\w+", names)]
    assert {items for items, _, _ in named} == {items for items, _, _ in rows}
    assert [one for one in named if one[2] not in _tests_of(one[1])] == []


def _tests_of(file: str) -> set[str]:
    path = ROOT / "tests" / file
    tree = ast.parse(path.read_text(encoding="utf-8")) if path.is_file() else ast.Module([], [])
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)}
