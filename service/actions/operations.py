"""The name of each operation on a Task, to the action that does it."""

from collections.abc import Callable, Mapping
from typing import Any

from service.actions import (
    amend_report,
    bill_again,
    consent_exam,
    credit_exam,
    decide_referral,
    decide_urgent,
    estimate_exam,
    finish_exam,
    preliminary_report,
    referral_urgent,
    settle_exception,
    settle_step,
    tell_urgent,
    withdraw_exam,
)
from service.actions.ports import Caller, House

Json = dict[str, Any]

OPERATIONS: Mapping[str, Callable[[House, Caller, str, Json], Json]] = {
    "amend": amend_report.amend,
    "bill": bill_again.bill,
    "billing-check": settle_exception.check_now,
    "billing-settle": settle_exception.settle,
    "consent": consent_exam.consent,
    "credit": credit_exam.credit,
    "estimate": estimate_exam.estimate,
    "finish": finish_exam.finish,
    "preliminary": preliminary_report.preliminary,
    "referral": decide_referral.decide,
    "referral-animal": decide_referral.animal,
    "settle": settle_step.settle,
    "urgent": decide_urgent.decide,
    "urgent-acknowledge": referral_urgent.acknowledge,
    "urgent-attempt": tell_urgent.attempt,
    "withdraw": withdraw_exam.withdraw,
}
