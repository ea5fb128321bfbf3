"""The operations that are offered: what each takes and gives, as facts for whoever declares them."""

from service.fhir.operations.exam import EXAM
from service.fhir.operations.shape import Operation, Parameter
from service.fhir.operations.standard import STANDARD

ALL = (*STANDARD, *EXAM)

__all__ = ["ALL", "EXAM", "STANDARD", "Operation", "Parameter"]
