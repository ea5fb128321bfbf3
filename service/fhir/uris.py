"""Every URI the service speaks: HL7's and our own, in this one file."""

BASE = "https://sonoledger.example/fhir"

# our code systems
STRUCTURE = f"{BASE}/CodeSystem/structure"
STEP = f"{BASE}/CodeSystem/survey-step"
ITEM = f"{BASE}/CodeSystem/survey-item"
STATE = f"{BASE}/CodeSystem/survey-state"  # Task.businessStatus
DISPOSITION = f"{BASE}/CodeSystem/disposition"
REASON = f"{BASE}/CodeSystem/not-seen-reason"
ATTRIBUTE = f"{BASE}/CodeSystem/finding-attribute"
FINDING = f"{BASE}/CodeSystem/finding"
MEASURE = f"{BASE}/CodeSystem/measure"
PLACE = f"{BASE}/CodeSystem/place"  # where in a structure a measurement was taken
LIMIT = f"{BASE}/CodeSystem/limit"  # published figures by the name of their row
FORMULA = f"{BASE}/CodeSystem/formula"  # Observation.method of what was computed here
FORMULA_BAND = f"{BASE}/CodeSystem/formula-band"
SERVICE = f"{BASE}/CodeSystem/service"
CHARGE = f"{BASE}/CodeSystem/charge"
NOTE = f"{BASE}/CodeSystem/exam-note"  # sedation, doppler, fasting, weight-at-exam, sex-answer
PLANE = f"{BASE}/CodeSystem/plane"
LESION = f"{BASE}/lesion"  # identifier system of a focal lesion: value = "<animal>.<number>"
X_LESION = f"{BASE}/StructureDefinition/lesion-number"  # on Observation: valuePositiveInt
SURGERY = f"{BASE}/CodeSystem/surgery"  # operations on an animal's record that take structures away
TASK_CODE = f"{BASE}/CodeSystem/task-code"
AMENDMENT = f"{BASE}/CodeSystem/amendment"
REPORT_SECTION = f"{BASE}/CodeSystem/report-section"
OPERATION = f"{BASE}/CodeSystem/operation"  # second subtype of an AuditEvent: which operation it was
INVOICE_TYPE = f"{BASE}/CodeSystem/invoice-type"  # invoice, credit
ESTIMATE = f"{BASE}/CodeSystem/estimate"  # type of a draft Invoice, category of a Consent
TAX_CATEGORY = f"{BASE}/CodeSystem/tax-category"  # S, Z, E, O, AE, K, G as EN 16931 has them
EXAM_EVENT = f"{BASE}/CodeSystem/exam-event"  # MessageHeader.event: finished, amended, withdrawn ...
GRADE = f"{BASE}/CodeSystem/performer-grade"  # general, sonographer, specialist: of a Practitioner's qualification

# our identifiers, extensions
ID = f"{BASE}/id"  # identifier system under which our own resources are known elsewhere: value = our id
CHARGE_ID = f"{BASE}/charge-identity"
INVOICE_NUMBER = f"{BASE}/invoice-number"  # + "/<organisation>"
PROTOCOL = f"{BASE}/PlanDefinition/abdomen"  # + "/<species>|<hash of the catalogue>"
ORGANIZATION = f"{BASE}/organization"  # identifier system of an organisation here: value = its slug
X_PLANE = f"{BASE}/StructureDefinition/plane"  # on Observation: valueCodeableConcept
X_WINDOW = f"{BASE}/StructureDefinition/window"  # valueString
X_STATION = f"{BASE}/StructureDefinition/station"  # valuePositiveInt
X_FETUS = f"{BASE}/StructureDefinition/fetus"  # on Observation: valueString: which of several
X_CONFIRMED = f"{BASE}/StructureDefinition/confirmed-value"  # valueBoolean
X_REQUIREMENT = f"{BASE}/StructureDefinition/step-requirement"  # on a step's Task: valueCode
X_ENTERED = f"{BASE}/StructureDefinition/entered"  # on Task.output: complex: at, by and what else an entry holds
X_CREDITS = f"{BASE}/StructureDefinition/credited-invoice"  # valueReference
X_CREDITED_LINE = f"{BASE}/StructureDefinition/credited-line"  # valuePositiveInt
X_SELLER = f"{BASE}/StructureDefinition/seller"  # complex: name, address, tax-number, bank
X_BUYER = f"{BASE}/StructureDefinition/buyer"  # complex: address, tax-number
CLAIM_DOCUMENT = f"{BASE}/CodeSystem/claim-document"  # type of a DocumentReference that a direct claim needs
X_REPEAT = f"{BASE}/StructureDefinition/same-day-reason"  # on ServiceRequest: valueString, why it is done once more
X_AGREED = f"{BASE}/StructureDefinition/agreed-estimate"  # on Consent, complex: amount, method, recorded-by
X_COVER = f"{BASE}/StructureDefinition/claimed-cover"  # on Invoice: valueReference to the Coverage
X_AUTHORISATION = f"{BASE}/StructureDefinition/pre-authorisation-held"  # on Coverage: number, scope*, period, amount
X_ROUNDING = f"{BASE}/StructureDefinition/tax-rounding"  # valueCode: group | line
X_TAX_RATE = f"{BASE}/StructureDefinition/tax-rate"  # valueDecimal
X_GROSS_ROUNDING = f"{BASE}/StructureDefinition/gross-rounding"  # valueCode: net-first | tax-first
X_CASH_ROUNDING = f"{BASE}/StructureDefinition/cash-rounding"  # valueMoney: what rounding to coins adds
X_DUE = f"{BASE}/StructureDefinition/amount-due"  # valueMoney
X_SURCHARGE_BASE = f"{BASE}/StructureDefinition/surcharge-base"  # valueMoney: what a surcharge is a share of
X_SITUATION = f"{BASE}/StructureDefinition/charge-situation"  # on ChargeItem, complex: what its price depends on
X_LINE = f"{BASE}/StructureDefinition/invoice-line"  # complex: code, animal, exam-date, performer, exam
X_UNROUNDED = f"{BASE}/StructureDefinition/unrounded-value"  # on Observation of ours: valueDecimal
X_DIFFERS = f"{BASE}/StructureDefinition/differs-from-inputs"  # on Observation that was sent: valueReference
X_REPORT_EDITION = f"{BASE}/StructureDefinition/report-edition"  # complex: number, by, change*, told*, replaced-issued
X_REPORT_LINE = f"{BASE}/StructureDefinition/report-line"  # complex: section (code), text: a person's own words
NOT_JUDGED = f"{BASE}/StructureDefinition/not-judged"  # on Observation or component: valueString, why there is no flag
SENDER_JUDGEMENT = f"{BASE}/StructureDefinition/sender-judgement"  # the sender's own flag and range, word for word
X_LIMIT = f"{BASE}/StructureDefinition/limit"  # valueCode: the row that judged; marks what the server wrote
X_PLACE = f"{BASE}/StructureDefinition/measured-at"  # valueCode: where in the structure, of mappings/places.csv

# HL7 and others
ANIMAL = "http://hl7.org/fhir/StructureDefinition/patient-animal"
GENDER = "http://hl7.org/fhir/administrative-gender"
NEUTER = "http://hl7.org/fhir/animal-genderstatus"
STATUS_REASON = "http://hl7.org/fhir/StructureDefinition/event-statusReason"
DATA_ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
IDENTIFIER_TYPE = "http://terminology.hl7.org/CodeSystem/v2-0203"
ROLE = "http://terminology.hl7.org/CodeSystem/v2-0063"
SECTION = "http://terminology.hl7.org/CodeSystem/v2-0074"
TASK_FULFIL = "http://hl7.org/fhir/CodeSystem/task-code"
SCT = "http://snomed.info/sct"
LOINC = "http://loinc.org"
DCM = "http://dicom.nema.org/resources/ontology/DCM"
OBSERVATION_VALUE = "http://terminology.hl7.org/CodeSystem/v3-ObservationValue"
UCUM = "http://unitsofmeasure.org"
SUBSETTED = "http://terminology.hl7.org/CodeSystem/v3-ObservationValue"
DICOM_UID = "urn:dicom:uid"
RESTFUL = "http://hl7.org/fhir/restful-interaction"
AUDIT_TYPE = "http://terminology.hl7.org/CodeSystem/audit-event-type"
OBJECT_ROLE = "http://terminology.hl7.org/CodeSystem/object-role"
ENTITY_TYPE = "http://terminology.hl7.org/CodeSystem/audit-entity-type"
SOURCE_TYPE = "http://terminology.hl7.org/CodeSystem/security-source-type"
AUDIT_ACTION = "http://hl7.org/fhir/audit-event-action"
AUDIT_OUTCOME = "http://hl7.org/fhir/audit-event-outcome"
RESOURCE_TYPES = "http://hl7.org/fhir/resource-types"
REQUEST_ENTITY = "https://profiles.ihe.net/ITI/BALP/CodeSystem/BasicAuditEntityType"
URI = "urn:ietf:rfc:3986"
PRICE_ROLE = "http://hl7.org/fhir/invoice-priceComponentType"
CURRENCY = "urn:iso:std:iso:4217"
XHTML = "http://www.w3.org/1999/xhtml"

# operations
HL7_OPERATION = "http://hl7.org/fhir/OperationDefinition/"
VALIDATE = f"{HL7_OPERATION}Resource-validate"
OPERATION_DEFINITION = f"{BASE}/OperationDefinition/"

# definitions
STRUCTURE_DEFINITION = "http://hl7.org/fhir/StructureDefinition/"
HL7_VALUE_SET = "http://hl7.org/fhir/ValueSet/"
SEARCH_PARAMETER = "http://hl7.org/fhir/SearchParameter/"
VALUE_SET = f"{BASE}/ValueSet/"
PLAN_TYPE = "http://terminology.hl7.org/CodeSystem/plan-definition-type"
USE_CONTEXT = "http://terminology.hl7.org/CodeSystem/usage-context-type"
MEDIA_TYPE = "http://terminology.hl7.org/CodeSystem/media-type"
LATERALITY = f"{BASE}/property/laterality"  # what a row of a ConceptMap depends on
FHIRPATH = "http://hl7.org/fhirpath/"
CONDITION_CLINICAL = "http://terminology.hl7.org/CodeSystem/condition-clinical"
CONDITION_VERIFICATION = "http://terminology.hl7.org/CodeSystem/condition-ver-status"

# urgent findings
URGENT = f"{BASE}/CodeSystem/urgent-finding"
URGENT_STATE = f"{BASE}/CodeSystem/urgent-state"  # Task.businessStatus of what is urgent
METHOD = f"{BASE}/CodeSystem/communication-method"  # voice, in-person, message
X_TIER = f"{BASE}/StructureDefinition/urgency-tier"  # on Task: valuePositiveInt, 1 at once ... 3 days
X_ESCALATE = f"{BASE}/StructureDefinition/escalates-at"  # on Task: valueInstant
COMMUNICATION_CATEGORY = "http://terminology.hl7.org/CodeSystem/communication-category"

# exceptions of billing
BILLING_EXCEPTION = f"{BASE}/CodeSystem/billing-exception"
BILLING_EXCEPTION_ID = f"{BASE}/billing-exception"  # identifier system: subject|kind|hash of the facts

# referrals
REFERRAL = f"{BASE}/referral"  # identifier system of a referral's Task on both sides: value = agreement.order
REFERRAL_STATE = f"{BASE}/CodeSystem/referral"  # Task.businessStatus of a referral, and what its inputs are

# subscriptions
TOPIC = f"{BASE}/SubscriptionTopic/"  # + the name of a row of fhir/topics.py
_BACKPORT = "http://hl7.org/fhir/uv/subscriptions-backport/"
BACKPORT_FILTER = f"{_BACKPORT}StructureDefinition/backport-filter-criteria"
BACKPORT_CONTENT = f"{_BACKPORT}StructureDefinition/backport-payload-content"
BACKPORT_CHANNEL = f"{_BACKPORT}StructureDefinition/backport-channel-type"
BACKPORT_HEARTBEAT = f"{_BACKPORT}StructureDefinition/backport-heartbeat-period"
BACKPORT_TIMEOUT = f"{_BACKPORT}StructureDefinition/backport-timeout"
BACKPORT_MOST = f"{_BACKPORT}StructureDefinition/backport-max-count"
BACKPORT_SUBSCRIPTION = f"{_BACKPORT}StructureDefinition/backport-subscription"
BACKPORT_STATUS = f"{_BACKPORT}StructureDefinition/backport-subscription-status-r4"
BACKPORT_NOTIFICATION = f"{_BACKPORT}StructureDefinition/backport-subscription-notification-r4"
BACKPORT_TOPIC = f"{_BACKPORT}StructureDefinition/capabilitystatement-subscriptiontopic-canonical"
BACKPORT_OPERATION = f"{_BACKPORT}OperationDefinition/backport-subscription-"  # + status, events

# who may come in
CLIENT_ASSERTION = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"  # RFC 7523
SECURITY_SERVICE = "http://terminology.hl7.org/CodeSystem/restful-security-service"
OAUTH_URIS = "http://fhir-registry.smarthealthit.org/StructureDefinition/oauth-uris"
