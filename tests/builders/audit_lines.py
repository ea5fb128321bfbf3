"""One line of the audit for each kind of interaction and each way it may end."""

from dataclasses import replace

from service.basics.stored import Trace

BASE = "http://sonoledger.example/fhir"
READ = Trace(
    "01982c50-0000-7000-8000-000000000001",
    "2026-11-25T13:04:29.123Z",
    "read",
    "R",
    "0",
    "scanner room",
    "req-1",
    type="Patient",
    id_of="p1",
    entities=("Patient/p1",),
)
LINES = {
    "read": READ,
    "vread": replace(READ, interaction="vread", type="Task", id_of="t1", entities=("Task/t1",)),
    "nothing of it": replace(READ, type="Patient", id_of="nobody", outcome="4", entities=()),
    "search": replace(READ, interaction="search-type", action="E", id_of="", entities=("Patient/p1", "Patient/p2")),
    "nothing found": replace(READ, interaction="search-type", action="E", id_of="", entities=()),
    "create": replace(READ, interaction="create", action="C", type="Media", id_of="m1", entities=("Media/m1",)),
    "refused create": replace(READ, interaction="create", action="C", outcome="4", id_of="", entities=()),
    "update": replace(READ, interaction="update", action="U"),
    "refused delete": replace(READ, interaction="delete", action="D", outcome="4", entities=()),
    "transaction": replace(READ, interaction="transaction", action="E", type="", id_of="", entities=("Patient/p1",)),
    "history": replace(READ, interaction="history-system", action="E", type="", id_of="", entities=("Task/t1",)),
    "finish": replace(
        READ,
        interaction="operation",
        action="E",
        operation="finish",
        type="Task",
        id_of="t1",
        entities=("DiagnosticReport/d1",),
    ),
    "our own fault": replace(READ, interaction="operation", action="E", operation="settle", outcome="8", type="Task"),
    "a method without a name": replace(READ, interaction="", action="E", outcome="4", type="", id_of="", entities=()),
    "a token without a label": replace(READ, client=""),
}
