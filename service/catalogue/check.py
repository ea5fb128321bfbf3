"""Turns the texts of mappings/ into the list of what is wrong with them."""

from collections.abc import Mapping

from service.catalogue.faults import CatalogueFaults
from service.catalogue.load import load


def faults(files: Mapping[str, str]) -> list[str]:
    """Every fault as "file:line: text" (line 0: the file as a whole); empty when the mappings can be used."""
    try:
        load(files)
    except CatalogueFaults as error:
        return error.faults
    return []
