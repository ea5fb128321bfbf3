"""An old exam keeps its catalogue, and learns what senders call things today."""

import pytest

from service.basics.errors import Missing
from service.catalogue.files import pack, read_folder
from service.catalogue.load import Catalogues, load

SCT = "http://snomed.info/sct"


def test_an_old_exam_is_judged_by_its_own_rows() -> None:
    old = read_folder()
    new = {**old, "stations.csv": old["stations.csv"].replace("3,Spleen", "3,The spleen")}
    stored = {load(old).hash: pack(old)}
    asked: list[str] = []

    def fetch(hash_: str) -> str | None:
        asked.append(hash_)
        return stored.get(hash_)

    catalogues = Catalogues(load(new), fetch)
    hash_ = load(old).hash
    titles = {s.station_title for s in catalogues.of(hash_).protocols["dog"].steps if s.station == 3}
    assert titles == {"Spleen"}
    assert catalogues.of(hash_) is catalogues.of(hash_)
    assert asked == [hash_], "a stored catalogue is fetched once"
    assert catalogues.of(catalogues.current.hash) is catalogues.current


def test_a_new_site_is_understood_by_old_exams_at_once() -> None:
    old = read_folder()
    hash_ = load(old).hash
    new = {
        **old,
        "stations.csv": old["stations.csv"].replace("3,Spleen", "3,The spleen"),
        "sites.csv": old["sites.csv"] + "sct,34402009,Rectum,,colon,A,a row added later\n",
    }
    catalogues = Catalogues(load(new), {hash_: pack(old)}.get)
    assert (SCT, "34402009", "") not in load(old).sites
    assert catalogues.of(hash_).sites[SCT, "34402009", ""] == "colon"


def test_a_new_site_alone_is_the_same_catalogue() -> None:
    old = read_folder()
    new = {**old, "sites.csv": old["sites.csv"] + "sct,34402009,Rectum,,colon,A,a row added later\n"}
    assert load(new).hash == load(old).hash


def test_a_catalogue_that_is_not_stored_is_missing_and_never_replaced_by_todays() -> None:
    with pytest.raises(Missing, match="not stored"):
        Catalogues(load(read_folder()), lambda _: None).of("f" * 64)
