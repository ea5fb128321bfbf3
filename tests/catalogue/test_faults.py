"""Every kind of broken row is told with its file and line, and all of them at once."""

import pytest

from service.catalogue.check import faults
from service.catalogue.faults import CatalogueFaults
from service.catalogue.files import read_folder
from service.catalogue.load import load
from tests.builders.tariff_rows import row
from tests.catalogue.broken import line_of, said

BROKEN = [
    # file, what stands there, what is put there, start of the line blamed, words of the fault
    ("systems.csv", "structure,https", "structures,https", "", "the system structure is missing"),
    ("species.csv", "cat,sct", "lion,sct", "cat,", 'species "lion"'),
    ("lateralities.csv", "Left,yes", "Left,no", "left,sct,7771000", "no preferred code"),
    ("planes.csv", "long,sct,103339001", "long,sct,103339011", "long,sct,103339001", "wrong check digit"),
    ("structures.csv", "gallbladder,Gallbladder,gallbladder", "gallbladder,Gallbladder,bag", "", 'vocabulary "bag"'),
    ("sites.csv", "Common bile duct,,common_bile_duct", "Common bile duct,,bile", "sct,79741001", 'structure "bile"'),
    ("sites.csv", "sct,79741001", "ct,79741001", "sct,79741001", 'system "ct" is not in systems.csv'),
    ("organs.csv", "Prostate,,prostate", "Prostate,,gland", "sct,41216001", 'organ "gland"'),
    ("measures.csv", "mm,1,no,sct,410668003", "mmm,1,no,sct,410668003", "", 'length: unit "mmm"'),
    ("measures.csv", "ln,12023-8", "ln,12023-9", "resistive-index", "wrong check digit"),
    (
        "measure-ranges.csv",
        "spleen,thickness,cat,1,80",
        "spleen,thickness,cat,90,80",
        "spleen,thickness,cat",
        "not below",
    ),
    (
        "measure-ranges.csv",
        "aorta,luminal-diameter,",
        "aorta,diametre,",
        "aorta,luminal-diameter,",
        'measure "diametre"',
    ),
    ("measure-ranges.csv", "cat,1,80", "cat,1e0,80", "spleen,thickness,cat", "plain decimal number"),
    ("properties.csv", "Width,measure:width", "Width,measure:wide", "sct,103355008", "measure:wide"),
    ("properties.csv", "Width,measure:width", "Width,measure:width measure:length", "sct,103355008", "width or length"),
    ("words.csv", "focal_lesion,kind,cyst", "focal_lesion,kind,bubble", "sct,367643001", "is not in findings.csv"),
    ("attributes.csv", "fluid!=none", "fluid!=nothing", "peritoneum,fluid-echo", "names no attribute and value"),
    (
        "findings.csv",
        "ureter,visibility,dilated",
        "ureter,visible,dilated",
        "ureter,visibility,dilated",
        "not in attributes",
    ),
    ("findings.csv", "aorta,lumen,clear,Clear,yes,0", "aorta,lumen,clear,Clear,yes,2", "aorta,lumen,clear", "grade 0"),
    (
        "findings.csv",
        "aorta,lumen,clear,Clear,yes,0",
        "aorta,lumen,clear,Clear,maybe,0",
        "aorta,lumen,clear",
        "yes or no",
    ),
    (
        "reasons.csv",
        "gas,Overlying gas,technical,no,yes,full",
        "gas,Overlying gas,technical,no,yes,half",
        "gas,",
        "half",
    ),
    ("reasons.csv", "excused,send it later", "forgiven,send it later", "kept-on-scanner", 'disposition "forgiven"'),
    ("protocols/abdomen.csv", "10,1,peritoneum,peritoneum", "10,1,peritoneum,belly", "10,1", 'structure "belly"'),
    ("protocols/abdomen.csv", "required,multi", "required,dorsal", "10,1", 'plane "dorsal"'),
    ("protocols/abdomen.csv", ",fluid-score,", ",fluid-scores,", "10,1", "no range for the dog"),
    ("protocols/abdomen.csv", "10,2,retroperitoneum", "10,1,retroperitoneum", "10,2", "this place in the sequence"),
    ("protocols/abdomen.csv", "10,2,retroperitoneum", "11,2,retroperitoneum", "10,2", "station 11"),
    ("protocols/abdomen.csv", "common_bile_duct duodenal_papilla", "common_bile_dict", "7,4", "which is no step"),
    (
        "services.csv",
        "retroperitoneum pleural",
        "retroperitoneal pleural",
        "fluid-check",
        'structure "retroperitoneal"',
    ),
    ("services.csv", "limited,yes,,", "limited,yes,spleen,", "limited", "either the order names the organs"),
    ("order-codes.csv", "limited,ln", "half,ln", "limited,ln", 'service "half"'),
    ("tariff.csv", "185.00,EUR", "185.00,EUX", "full,", 'currency "EUX"'),
    ("tariff.csv", "185.00,EUR", "185.001,EUR", "full,", "more digits than EUR has (2)"),
    ("tariff.csv", "185.00,EUR", "-185.00,EUR", "full,", "is negative"),
    ("tariff.csv", "185.00,EUR", "1850.5,JPY", "full,", "more digits than JPY has (0)"),
    ("practices.csv", "*,UTC", "*,Mars/Base", "*", "no time zone"),
    ("practices.csv", "*,UTC", "north,UTC", "", 'the row "*" is missing'),
    ("practices.csv", "*,UTC,08:00-18:00", "*,UTC,18:00-08:00", "*", "close after it opens"),
    ("currencies.csv", "JPY,0", "JPY,1", "JPY", "exponent"),
    ("cautions.csv", "C22,species,For dogs and cats only.", "C22,species,", "C22", "text"),
    ("report-clauses.csv", "margin,smooth,,", "margin,velvet,,", "margin,smooth", "no vocabulary has margin velvet"),
    (
        "report-clauses.csv",
        "size,normal,testes,",
        "size,normal,tests,",
        "size,normal,testes",
        "the vocabulary tests has no size normal",
    ),
    ("report-clauses.csv", "{its} margin is smooth", "{hers} is smooth", "margin,smooth", "no place {hers} here"),
    ("report-clauses.csv", "{its} margin is rounded", "{its margin", "margin,rounded", "a brace stands alone"),
    ("report-phrases.csv", "{it} {was} seen in {planes}.", "{it} {was} seen.", "seen-in,", "seen-in must say {planes}"),
    ("report-phrases.csv", "remark,Remark: {words}", "remarks,Remark: {words}", "remark,", "says no phrase remarks"),
    ("report-plurals.csv", "testes", "tests", "testes", "there is no structure tests"),
    ("report-sections.csv", "conclusion,Conclusion", "identity,Conclusion", "conclusion", "stands already on line 2"),
    ("identifiers.csv", "Placer Identifier,yes", "Placer Identifier,Yes", "ServiceRequest,PLAC", "yes or no"),
    ("units.csv", "mm,cm,10", "mm,cm,ten", "mm,cm", "plain decimal number"),
    ("stations.csv", "3,Spleen", "33,Spleen", "", "station 3 is not in stations.csv"),
]


@pytest.mark.parametrize(("file", "old", "new", "start", "words"), BROKEN)
def test_a_broken_row_is_told_with_file_and_line(file: str, old: str, new: str, start: str, words: str) -> None:
    told = said(file, old, new)
    place = f"{file}:{line_of(file, start)}:" if start else ""
    assert any(fault.startswith(place) and words in fault for fault in told), told


def test_one_broken_structure_does_not_blame_all_that_use_it() -> None:
    assert said("structures.csv", "spleen,Spleen,spleen", "spleen,,spleen") == [
        f'structures.csv:{line_of("structures.csv", "spleen,")}: title "": String should have at least 1 character'
    ]


def test_all_faults_come_at_once_in_order_of_file_and_line() -> None:
    files = read_folder()
    files["tariff.csv"] = files["tariff.csv"].replace("35.00,EUR", "35.001,EUR").replace("2020-01-01", "1.1.2020", 1)
    files["sites.csv"] += "sct,10200004,Liver,,liver_top,A,nowhere\n"
    del files["cautions.csv"]
    files["prices.csv"] = "a,b\n"
    told = faults(files)
    assert [f.split(" ")[0] for f in told] == [
        "cautions.csv:0:",
        "prices.csv:0:",
        f"sites.csv:{files['sites.csv'].count(chr(10))}:",
        f"sites.csv:{files['sites.csv'].count(chr(10))}:",
        "tariff.csv:2:",
        "tariff.csv:6:",
    ]
    with pytest.raises(CatalogueFaults) as raised:
        load(files)
    assert raised.value.faults == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "stations.csv:1: the columns must be station,title"),
        ("station,name\n1,x\n", "stations.csv:1: the columns must be station,title"),
        ("station,title\n1,Liver,extra\n", "stations.csv:2: has 3 cells, not 2"),
        ("station,title\n\n", "stations.csv:2: has 0 cells, not 2"),
        ('station,title\n1,"two\nlines"\n', "stations.csv:2: title: has blanks too many or a line break"),
        ('station,title\n1,"open\n', "stations.csv:2: is not CSV (unexpected end of data)"),
        ("station,title\n1,A\n1,B\n", "stations.csv:3: station 1 stands already on line 2"),
    ],
)
def test_a_file_that_is_no_table_is_told(text: str, told: str) -> None:
    assert told in faults({**read_folder(), "stations.csv": text})


def test_a_day_has_one_price() -> None:
    files = read_folder()
    files["tariff.csv"] += row("doppler", valid_from="2027-01-01", amount="36.00")
    assert faults(files) == [
        f"tariff.csv:{files['tariff.csv'].count(chr(10))}: doppler has a price already on 2027-01-01 for the same exams"
    ]
    before = "35.00,EUR,net,S,20,,2020-01-01,,"
    files["tariff.csv"] = files["tariff.csv"].replace(before, "35.00,EUR,net,S,20,,2020-01-01,2026-12-31,")
    assert faults(files) == []
