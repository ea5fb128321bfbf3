"""A resource -> everything in it that FHIR R4, or our own profile of it, forbids."""

from service.fhir.types import STORABLE
from service.fhir.validate.check import check
from service.fhir.validate.compiled import prepare
from service.fhir.validate.opinion import Remark, opinion
from service.fhir.validate.profile import profile

TYPES = STORABLE

__all__ = ["TYPES", "Remark", "check", "opinion", "prepare", "profile"]
