"""The resource types that are served and what holds for each."""

from service.fhir.types import DEFINITIONS, STORABLE

READ_ONLY = frozenset({"AuditEvent"}) | DEFINITIONS
"""Types that only the service itself writes."""

SERVED = tuple(sorted(STORABLE | DEFINITIONS))
"""Every type, sorted."""

KNOWN = frozenset(SERVED)
