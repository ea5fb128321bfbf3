"""Every rule of billing has a test that bears its number, and the developers' page names one that exists."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
RULES = [f"B{n:02d}" for n in range(1, 34)]
ROW = re.compile(r"^\| (B\d\d) \| [^|]+ \| (\S+\.py) `(test_\w+)` \|$", re.M)


def test_each_rule_of_billing_names_a_test_that_bears_its_number() -> None:
    rows = ROW.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert [rule for rule, _, _ in rows] == RULES
    wrong = []
    for rule, file, name in rows:
        tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
        there = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        if name not in there or f"_{rule.lower()}_" not in name:
            wrong.append((rule, file, name))
    assert wrong == []
