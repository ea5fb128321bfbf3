"""Each row of the checklist has a test of its own here, named by its id; what is proved elsewhere is named."""

import ast
import re
from pathlib import Path

ROOM = Path(__file__).parent
ROWS = {
    *(f"c{n}" for n in range(1, 20)),  # capability, negotiation, headers
    *(f"w{n}" for n in range(1, 13)),  # create
    *(f"r{n}" for n in range(1, 8)),  # read and history
    *(f"u{n}" for n in range(1, 19)),  # update, patch, delete
    *(f"s{n}" for n in range(1, 26)),  # search
    *(f"t{n}" for n in range(1, 16)),  # batch and transaction
    *(f"o{n}" for n in range(1, 4)),  # operations
    *(
        f"e{n}" for n in (400, 401, 403, 404, 405, 406, 409, 410, 412, 413, 415, 422, 428, 500, 503)
    ),  # refusals; nothing is throttled, so 429 never comes
    *(f"l{n}" for n in range(1, 10)),  # limits
}
# what needs a store that breaks or a caller who is slow is tried where the real action has a twin
ELSEWHERE = {
    "t13": ("api/test_write.py", "test_a_busy_store_is_tried_again_and_then_told"),
    "e503": ("api/test_write.py", "test_a_busy_store_is_tried_again_and_then_told"),
    "e500": ("api/test_write.py", "test_what_breaks_says_only_the_requests_id"),
    "l9": ("api/test_limits.py", "test_a_body_that_does_not_arrive_is_408"),
}
_ID = re.compile(r"(?:test|and)_([a-z]\d+)(?=_)|(?<=\d)_([a-z]\d+)(?=_)")


def named_in(file: Path) -> list[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return [node.name for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]


def test_every_row_has_a_test_and_every_test_a_row() -> None:
    names = [name for file in ROOM.glob("test_*.py") if file != Path(__file__) for name in named_in(file)]
    found = [{one or other for one, other in _ID.findall(name)} for name in names]
    assert [name for name, rows in zip(names, found, strict=True) if not rows] == []
    assert set().union(*found) | ELSEWHERE.keys() == ROWS


def test_what_is_proved_elsewhere_is_there() -> None:
    for file, name in ELSEWHERE.values():
        assert name in named_in(ROOM.parent / file)


def test_no_row_is_claimed_outside_this_room() -> None:
    claims = re.compile(r"test_(" + "|".join(sorted(ROWS, key=len, reverse=True)) + r")_")
    elsewhere = sorted((ROOM.parent / "api").glob("test_*.py"))
    assert [f"{file.name}: {name}" for file in elsewhere for name in named_in(file) if claims.match(name)] == []
