"""Operations on a Subscription that the R5 backport has in R4: how it stands, and what happened."""

from service.fhir import uris
from service.fhir.operations.shape import INSTANCE, TYPE, Operation, given, taken

SUBSCRIPTION: tuple[Operation, ...] = (
    Operation(
        "status",
        "subscription-status",
        "The status of subscriptions",
        "How one or more Subscriptions stand: their state, how many events there were, and the last trouble.",
        ("Subscription",),
        TYPE | INSTANCE,
        (
            taken("id", "id", "Only these; all without it.", many=True),
            taken("status", "code", "Only those that stand so.", many=True),
            given("Bundle", "A searchset of Parameters, one for each."),
        ),
        base=f"{uris.BACKPORT_OPERATION}status",
    ),
    Operation(
        "events",
        "subscription-events",
        "The events of a subscription",
        "What a subscriber missed, by number, for a month. At most 200 events; ask on from the last one.",
        ("Subscription",),
        INSTANCE,
        (
            taken("eventsSinceNumber", "string", "From this one on; the first without it."),
            taken("eventsUntilNumber", "string", "To this one; the last without it."),
            taken("content", "code", "empty, id-only or full-resource; as the Subscription asks without it."),
            given("Bundle", "A history: the status, then the resources as they were."),
        ),
        base=f"{uris.BACKPORT_OPERATION}events",
    ),
)
