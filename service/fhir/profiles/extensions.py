"""Our extensions, one row each: where they stand and what they hold."""

from service.fhir import uris
from service.fhir.profiles.rows import Own, Part

_MEASURED = ("Observation", "Observation.component")

EXTENSIONS: tuple[Own, ...] = (
    Own(uris.X_PLANE, ("Observation",), "Plane of section", "CodeableConcept"),
    Own(uris.X_WINDOW, ("Observation", "Media"), "Window: where the probe lay", "string"),
    Own(uris.X_STATION, ("Observation", "Media", "Task"), "Station of the survey, 1 to 10", "positiveInt"),
    Own(uris.X_CONFIRMED, ("Observation",), "An unusual value that a person looked at again and confirmed", "boolean"),
    Own(uris.X_LESION, ("Observation",), "Number of a focal lesion, the same in all exams of the animal; written by "
        "the server", "positiveInt"),
    Own(uris.X_FETUS, ("Observation",), "Which of several fetuses a reading is of", "string"),
    Own(uris.X_PLACE, _MEASURED, "Where in the structure it was measured", "code"),
    Own(uris.NOT_JUDGED, _MEASURED, "Why a measurement is not compared with a limit", "string"),
    Own(uris.X_LIMIT, tuple(f"{one}.{said}" for one in _MEASURED for said in ("interpretation", "referenceRange")),
        "The limit that judged, written by the server", "code"),
    Own(uris.X_UNROUNDED, ("Observation",), "A computed value with all its digits, or 28 of them", "decimal"),
    Own(uris.X_DIFFERS, _MEASURED, "A result that was sent is another than its own inputs give; written by the "
        "server", "Reference"),
    Own(uris.SENDER_JUDGEMENT, _MEASURED, "One flag or one range of the sender, as sent", parts=(
        Part("interpretation", "CodeableConcept", "The flag"),
        Part("low", "Quantity", "Lower end of the range"),
        Part("high", "Quantity", "Upper end of the range"),
        Part("type", "CodeableConcept", "What kind of range"),
        Part("appliesTo", "CodeableConcept", "For whom it is", most="*"),
        Part("age", "Range", "For which ages it is"),
        Part("text", "string", "The range in words"),
        Part("exact", "string", "The range as JSON, where it held more than this"),
    )),
    Own(uris.X_REQUIREMENT, ("Task",), "Whether a step is asked for always or under a condition", "code"),
    Own(uris.X_ENTERED, ("Task.output",), "What was entered for a step, when and by whom", parts=(
        Part("at", "dateTime", "When it was entered"),
        Part("by", "string", "Who entered it"),
        Part("value", "string", "The value, digits as entered"),
        Part("reason", "code", "Why it was not seen or not done"),
        Part("note", "string", "A person's own words"),
        Part("window", "string", "Where the probe lay"),
        Part("station", "positiveInt", "Station of the survey"),
        Part("act", "string", "The statement that it belongs to"),
        Part("retracted-at", "dateTime", "When it was taken back"),
        Part("retracted-by", "string", "Who took it back"),
    )),
    Own(uris.X_TIER, ("Task",), "How soon somebody must know: 1 minutes, 2 hours, 3 days", "positiveInt"),
    Own(uris.X_ESCALATE, ("Task",), "When somebody else is to be tried", "instant"),
    Own(uris.X_CREDITS, ("Invoice",), "The invoice that this one credits", "Reference"),
    Own(uris.X_CREDITED_LINE, ("Invoice.lineItem",), "The line of the credited invoice", "positiveInt"),
    Own(uris.X_SELLER, ("Invoice",), "The seller as on the day of issue", parts=(
        Part("name", "string", "Legal name"),
        Part("address", "string", "Address, one line"),
        Part("tax-number", "string", "Tax number"),
        Part("bank", "string", "Bank account"),
    )),
    Own(uris.X_ROUNDING, ("Invoice",), "How tax was rounded: by group or by line", "code"),
    Own(uris.X_TAX_RATE, ("Invoice.lineItem.priceComponent", "Invoice.totalPriceComponent"), "Tax rate in per cent",
        "decimal"),
    Own(uris.X_LINE, ("Invoice.lineItem",), "What a line was for", parts=(
        Part("code", "code", "Code of the tariff"),
        Part("animal", "string", "Name of the animal"),
        Part("exam-date", "date", "Day of the exam"),
        Part("performer", "string", "Who scanned"),
        Part("exam", "Reference", "The exam's Task"),
    )),
    Own(uris.X_REPORT_EDITION, ("DiagnosticReport",), "Version of a report and what changed in it", parts=(
        Part("number", "positiveInt", "1 for the first", least=1),
        Part("by", "string", "Who signed it"),
        Part("change", "string", "One thing that changed", most="*"),
        Part("told", "string", "Who was told of something urgent, and when", most="*"),
        Part("replaced-issued", "instant", "When the version before was issued"),
        Part("preliminary", "Reference", "The preliminary report that it takes the place of"),
        Part("major", "boolean", "Whether its author says that the change can alter the animal's care"),
    )),
    Own(uris.X_REPORT_LINE, ("DiagnosticReport",), "A person's own words in the report", parts=(
        Part("section", "code", "Section of the report", least=1),
        Part("text", "string", "The words", least=1),
    )),
)  # fmt: skip
