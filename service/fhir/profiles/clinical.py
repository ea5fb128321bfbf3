"""Our profiles of what is ordered, scanned and reported, one row an element."""

from service.fhir import uris
from service.fhir.profiles.rows import Profile, Rule, coded

_ANIMAL = Rule("subject", "the animal", 1, targets=("Patient",))
_OURS = ("Identifier", {"system": uris.ID})

CLINICAL: tuple[Profile, ...] = (
    Profile(
        "animal", "Patient", "Animal", "A dog or cat that can be scanned; its owner is a RelatedPerson.",
        (("extension", {"url": uris.ANIMAL}),),
        (
            Rule("extension:animal", "the patient-animal extension", 1, "1", url=uris.ANIMAL),
            Rule("extension:animal.extension:species", "an animal has exactly one species", 1, "1", url="species"),
            Rule("extension:animal.extension:species.value[x]", "the species of an animal is coded", 1,
                 types=("CodeableConcept",)),
            Rule("extension:animal.extension:species.value[x].coding", "the species of an animal is coded", 1),
        ),
    ),
    Profile(
        "order", "ServiceRequest", "Order", "An abdominal ultrasound ordered for one animal; active opens an exam.",
        (),
        (
            Rule("code", "what is ordered, by a code of ours or of the order codes listed", 1),
            Rule("code.coding", "what is ordered is coded", 1),
            _ANIMAL,
        ),
    ),
    Profile(
        "exam-task", "Task", "Exam", "The progress of one exam, from acceptance to its report; kept by the server.",
        (("code.coding", {"system": uris.TASK_FULFIL, "code": "fulfill"}),),
        (
            Rule("identifier", "our identifier of the exam", 1, pattern=_OURS, served=True),
            Rule("status", "accepted until the report is signed", served=True),
            Rule("code", "an exam fulfils an order", 1, pattern=coded(uris.TASK_FULFIL, "fulfill"), served=True),
            Rule("focus", "the order", 1, targets=("ServiceRequest",), served=True),
            Rule("for", "the animal", 1, targets=("Patient",), served=True),
            Rule("authoredOn", "when the order was accepted", 1, served=True),
            Rule("lastModified", "when the exam last changed", 1, served=True),
            Rule("input", "the facts that the steps were chosen by", 1, served=True),
            Rule("output", "what was entered for the exam as a whole", served=True),
        ),
    ),
    Profile(
        "step-task", "Task", "Step", "One structure of the survey: what is owed of it and how it ended.",
        (("code.coding", {"system": uris.STEP}),),
        (
            Rule("extension:requirement", "whether the step is asked for always", 1, "1", url=uris.X_REQUIREMENT,
                 served=True),
            Rule("extension:station", "the station of the survey", 0, "1", url=uris.X_STATION, served=True),
            Rule("partOf", "the exam", 1, "1", targets=("Task",), served=True),
            Rule("status", "follows what was entered", served=True),
            Rule("businessStatus", "the state of the step", 1, pattern=coded(uris.STATE), served=True),
            Rule("code", "the step", 1, pattern=coded(uris.STEP), served=True),
            Rule("focus", "the order", 1, targets=("ServiceRequest",), served=True),
            Rule("for", "the animal", 1, targets=("Patient",), served=True),
            Rule("input", "what is still owed", served=True),
            Rule("output", "what was entered, each with when and by whom", served=True),
            Rule("note", "what to think of, given what was found", served=True),
        ),
    ),
    Profile(
        "measurement", "Observation", "Measurement", "One measured value of one structure.",
        (("code.coding", {"system": uris.MEASURE}),),
        (
            Rule("code", "what was measured", 1, pattern=coded(uris.MEASURE)),
            Rule("bodySite", "a finding or measurement says where: bodySite is needed", 1),
            Rule("valueQuantity.system", f"a measurement has a unit of {uris.UCUM}", 1, pattern=("uri", uris.UCUM)),
            Rule("valueQuantity.code", f"a measurement has a unit of {uris.UCUM}", 1),
            Rule("extension:plane", "the plane of section", 0, "1", url=uris.X_PLANE),
            Rule("extension:measured-at", "where in the structure", 0, "1", url=uris.X_PLACE),
            Rule("extension:not-judged", "why there is no flag, written by the server", 0, "1", url=uris.NOT_JUDGED),
            Rule("extension:unrounded-value", "a computed value with all its digits, written by the server", 0, "1",
                 url=uris.X_UNROUNDED),
            Rule("extension:differs-from-inputs", "what a result that was sent should be, written by the server",
                 url=uris.X_DIFFERS),
            Rule("extension:sender-judgement", "the sender's own flags and ranges, kept by the server as sent",
                 url=uris.SENDER_JUDGEMENT),
            Rule("interpretation", "H, L or N by the limit chosen for this animal, written by the server; the sender's "
                 "is kept in sender-judgement"),
            Rule("referenceRange", "the limit chosen for this animal, with its source, written by the server; the "
                 "sender's is kept in sender-judgement"),
        ),
    ),
    Profile(
        "finding", "Observation", "Finding", "What was seen of one attribute of one structure.",
        (("code.coding", {"system": uris.ATTRIBUTE}),),
        (
            Rule("code", "the attribute", 1, pattern=coded(uris.ATTRIBUTE)),
            Rule("bodySite", "a finding or measurement says where: bodySite is needed", 1),
            Rule("extension:plane", "the plane of section", 0, "1", url=uris.X_PLANE),
        ),
    ),
    Profile(
        "focal-lesion", "Observation", "Focal lesion", "The record of one focal lesion; components hold its parts.",
        (("code.coding", {"system": uris.ATTRIBUTE, "code": "focal-lesion"}),),
        (
            Rule("code", "that a focal lesion is recorded", 1, pattern=coded(uris.ATTRIBUTE, "focal-lesion")),
            Rule("bodySite", "the structure in which it lies", 1),
            Rule("focus", "the lesion as it is known in all exams", 0, targets=("BodyStructure",)),
            Rule("extension:lesion-number", "its number", 0, "1", url=uris.X_LESION),
            Rule("component", "place, three diameters, kind, edge, echogenicity, vascularity, artefact"),
        ),
    ),
    Profile(
        "lesion", "BodyStructure", "Lesion", "One focal lesion of one animal; kept by the server.",
        (("identifier", {"system": uris.LESION}),),
        (
            Rule("identifier", "our identifier, and the lesion's number", 2, served=True),
            Rule("location", "the structure in which it lies", 1, served=True),
            Rule("patient", "the animal", 1, targets=("Patient",), served=True),
        ),
    ),
    Profile(
        "not-seen", "Observation", "Not seen", "A structure that was looked for in vain, or not looked for, and why.",
        (("code.coding", {"system": uris.DISPOSITION, "code": "not-seen"}),),
        (
            Rule("code", "that it was not seen", 1, pattern=coded(uris.DISPOSITION, "not-seen")),
            Rule("bodySite", "what was not seen", 1),
            Rule("value[x]", "what was not seen has no value", 0, "0"),
            Rule("dataAbsentReason", "why it was not seen", 1),
            Rule("dataAbsentReason.coding", "why it was not seen is coded", 1),
        ),
    ),
    Profile(
        "report", "DiagnosticReport", "Report", "The report of one exam, in one of its versions.",
        (("extension", {"url": uris.X_REPORT_EDITION}),),
        (
            Rule("extension:edition", "the version of the report", 1, "1", url=uris.X_REPORT_EDITION, served=True),
            Rule("identifier", "our identifier of the report", 1, pattern=_OURS, served=True),
            Rule("basedOn", "the order", 1, targets=("ServiceRequest",), served=True),
            Rule("status", "final when signed; amended, corrected or appended after", served=True),
            Rule("code", "what was examined", 1, pattern=coded(uris.SERVICE), served=True),
            Rule("subject", "the animal", 1, targets=("Patient",), served=True),
            Rule("effective[x]", "when the exam began", 1, served=True),
            Rule("issued", "when this version was signed", 1, served=True),
            Rule("performer", "the practice and who scanned", 1, served=True),
            Rule("presentedForm", "the report as a page and as text", 1, served=True),
        ),
    ),
)  # fmt: skip
