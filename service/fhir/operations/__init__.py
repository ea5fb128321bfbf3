"""The operations that are offered: what each takes and gives, as facts for whoever declares them."""

from service.fhir.operations.estimate import ESTIMATE
from service.fhir.operations.exam import EXAM as OF_EXAM
from service.fhir.operations.exceptions import CHECK, SETTLE
from service.fhir.operations.money import MONEY, PRINT
from service.fhir.operations.referral import REFERRAL
from service.fhir.operations.report import REPORT
from service.fhir.operations.shape import Operation, Parameter
from service.fhir.operations.standard import STANDARD
from service.fhir.operations.subscription import SUBSCRIPTION
from service.fhir.operations.urgent import URGENT

EXAM = (*OF_EXAM, *URGENT, SETTLE, *ESTIMATE, *MONEY, *REFERRAL)
ALL = (*STANDARD, *EXAM, *REPORT, *SUBSCRIPTION, PRINT, CHECK)

__all__ = ["ALL", "CHECK", "EXAM", "STANDARD", "Operation", "Parameter"]
