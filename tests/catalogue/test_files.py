"""A folder becomes texts, and texts become one stored text and back."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.catalogue.faults import CatalogueFaults
from service.catalogue.files import SENDER_FILES, fingerprint, pack, read_folder, unpack


def test_the_shipped_folder_is_found_without_a_path() -> None:
    shipped = read_folder()
    assert shipped.keys() > SENDER_FILES
    assert "protocols/abdomen.csv" in shipped


def test_what_a_spreadsheet_adds_makes_no_difference(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"\xef\xbb\xbfx,y\r\n1,\xc3\xa4\r\n")
    assert read_folder(tmp_path) == {"a.csv": "x,y\n1,ä\n"}


def test_every_file_that_is_not_utf8_is_told(tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_bytes(b"x\n1\n\xe4\n")
    with pytest.raises(CatalogueFaults) as raised:
        read_folder(tmp_path)
    assert raised.value.faults == ["a.csv:3: is not UTF-8", "b.csv:3: is not UTF-8"]


def test_a_folder_without_mappings_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CatalogueFaults, match="holds no mappings"):
        read_folder(tmp_path / "nowhere")


@given(st.dictionaries(st.text(), st.text()))
def test_packing_is_undone_by_unpacking(files: dict[str, str]) -> None:
    assert unpack(pack(files)) == files
    assert pack(dict(reversed(files.items()))) == pack(files)


@pytest.mark.parametrize("text", ["[]", '{"a": 1}', "{"])
def test_what_is_no_packed_catalogue_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        unpack(text)


def test_the_hash_names_what_exams_are_judged_by_and_not_what_senders_call_things() -> None:
    shipped = read_folder()
    for name in shipped:
        changed = fingerprint({**shipped, name: shipped[name] + "x"}) != fingerprint(shipped)
        assert changed == (name not in SENDER_FILES), name
