"""Our profiles of what is charged and invoiced, one row an element."""

from service.fhir import uris
from service.fhir.profiles.rows import Profile, Rule, coded

BILLING: tuple[Profile, ...] = (
    Profile(
        "charge", "ChargeItem", "Charge", "One service of one exam that may be charged, exactly once.",
        (("code.coding", {"system": uris.CHARGE}),),
        (
            Rule("identifier", "order, code, organisation and correction: the same charge has the same one", 1,
                 pattern=("Identifier", {"system": uris.CHARGE_ID}), served=True),
            Rule("status", "follows the exam and its invoice", served=True),
            Rule("code", "the code of the tariff", 1, pattern=coded(uris.CHARGE), served=True),
            Rule("subject", "the animal", 1, targets=("Patient",), served=True),
            Rule("performingOrganization", "who performed the service", 1, served=True),
            Rule("quantity", "how often", 1, served=True),
            Rule("service", "the exam as it was performed", 1, targets=("Procedure",), served=True),
        ),
    ),
    Profile(
        "pre-authorisation", "Coverage", "Cover with a pre-authorisation",
        "A cover under which the insurer has authorised an exam before it was done.",
        (("extension", {"url": uris.X_AUTHORISATION}),),
        (
            Rule("extension:authorisation", "what was authorised", 1, url=uris.X_AUTHORISATION),
            Rule("extension:authorisation.extension:number", "a pre-authorisation has its number", 1, "1",
                 url="number"),
            Rule("extension:authorisation.extension:number.value[x]", "the number as text", 1, types=("string",)),
            Rule("beneficiary", "the animal", 1, targets=("Patient",)),
            Rule("payor", "the insurer that authorised it", 1, "1", targets=("Organization",)),
        ),
    ),
    Profile(
        "invoice", "Invoice", "Invoice", "An issued invoice, or the credit of one; neither is ever edited.",
        (("type.coding", {"system": uris.INVOICE_TYPE}),),
        (
            Rule("extension:seller", "the seller as on the day of issue", 1, "1", url=uris.X_SELLER, served=True),
            Rule("extension:rounding", "how tax was rounded", 1, "1", url=uris.X_ROUNDING, served=True),
            Rule("extension:credits", "the invoice that is credited", 0, "1", url=uris.X_CREDITS, served=True),
            Rule("identifier", "the number of the invoice", 1, served=True),
            Rule("type", "invoice or credit", 1, pattern=coded(uris.INVOICE_TYPE), served=True),
            Rule("subject", "the animal", 1, targets=("Patient",), served=True),
            Rule("recipient", "who pays", 1, served=True),
            Rule("date", "when it was issued", 1, served=True),
            Rule("issuer", "who is owed", 1, served=True),
            Rule("lineItem", "what is charged", 1, served=True),
            Rule("lineItem.priceComponent", "the price and tax of the line", 1, served=True),
            Rule("totalNet", "the sum without tax", 1, served=True),
            Rule("totalGross", "the sum to be paid", 1, served=True),
        ),
    ),
)  # fmt: skip
