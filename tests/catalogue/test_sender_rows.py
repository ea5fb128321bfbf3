"""What senders call things leads to one place here, or to a person."""

import pytest

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import uris


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(read_folder())


@pytest.mark.parametrize(
    ("system", "code", "side", "structure"),
    [
        (uris.SCT, "28231008", "", "gallbladder"),
        (uris.SCT, "64033007", "left", "kidney_left"),
        (uris.SCT, "64033007", "right", "kidney_right"),
        (uris.SCT, "64033007", "", ""),
        (uris.SCT, "64033007", "both", ""),
        (uris.SCT, "10200004", "", ""),
        (uris.SCT, "15776009", "", ""),
        (uris.SCT, "40689003", "", ""),
        (uris.SCT, "32622004", "", "colon"),
        (uris.SCT, "9846003", "left", ""),
        (uris.STRUCTURE, "liver_central", "", "liver_central"),
        (uris.STRUCTURE, "kidney_left", "", "kidney_left"),
        (uris.STRUCTURE, "kidney_left", "left", "kidney_left"),
        (uris.STRUCTURE, "kidney_left", "right", ""),
    ],
)
def test_a_site_leads_to_one_structure_or_to_a_person(
    catalogue: Catalogue, system: str, code: str, side: str, structure: str
) -> None:
    assert catalogue.sites[system, code, side] == structure


def test_a_structure_as_we_write_it_is_understood_as_itself(catalogue: Catalogue) -> None:
    for structure in catalogue.structures.values():
        side = (
            catalogue.lateralities[structure.laterality.system, structure.laterality.code]
            if structure.laterality
            else ""
        )
        led = {catalogue.sites.get((c.system, c.code, side)) for c in structure.site}
        assert led in ({structure.key}, {structure.key, ""}), structure.key
        assert structure.site[-1].system == uris.STRUCTURE


def test_organs_of_an_order_are_all_their_structures(catalogue: Catalogue) -> None:
    organs = catalogue.organs
    assert organs[uris.SCT, "10200004", ""] == ("liver_left", "liver_central", "liver_right", "hepatic_veins")
    assert organs[uris.SCT, "64033007", ""] == ("kidney_left", "kidney_right")
    assert organs[uris.SCT, "64033007", "left"] == ("kidney_left",)
    assert organs[uris.STRUCTURE, "liver", ""] == organs[uris.SCT, "10200004", ""]
    assert organs[uris.STRUCTURE, "liver_left", ""] == ("liver_left",)
    assert organs[uris.STRUCTURE, "spleen", ""] == ("spleen", "splenic_vein"), "the organ, not only its parenchyma"
    assert {s for keys in organs.values() for s in keys} == catalogue.structures.keys()


def test_a_property_leads_to_what_the_structure_has(catalogue: Catalogue) -> None:
    properties = catalogue.properties
    assert properties[uris.LOINC, "59089-3"] == ("measure:thickness", "measure:wall-thickness")
    assert properties[uris.MEASURE, "caudal-pole-thickness"] == ("measure:caudal-pole-thickness",)
    assert properties[uris.ATTRIBUTE, "fill"] == ("attribute:fill",)
    assert properties[uris.LOINC, "29463-7"] == properties[uris.NOTE, "weight"] == ("note:weight",)
    notes = {code for system, code in properties if system == uris.NOTE}
    assert notes >= {"sedation", "doppler", "fasting", "weight", "sex", "testes", "stability", "azotaemia"}


def test_every_finding_of_ours_is_one_word(catalogue: Catalogue) -> None:
    ours = {code: word for (system, code), word in catalogue.words.items() if system == uris.FINDING}
    values = sum(len(a.values) for attributes in catalogue.vocabularies.values() for a in attributes)
    assert len(ours) == values
    assert ours["kidney.pelvis.mild"] == ("kidney", "pelvis", "mild")
    assert ours["peritoneum.fluid.none"] == ("peritoneum", "fluid", "none")


def test_planes(catalogue: Catalogue) -> None:
    assert catalogue.planes[uris.SCT, "103339001"] == catalogue.planes[uris.PLANE, "long"] == "long"
    assert catalogue.planes[uris.SCT, "62824007"] == catalogue.planes[uris.PLANE, "short"] == "short"
    assert catalogue.plane_codings["short"] == (uris.SCT, "103340004", "Short axis")
    assert catalogue.plane_codings["multi"] == (uris.PLANE, "multi", "Several planes")
