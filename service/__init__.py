"""Sonoledger: an HL7 FHIR R4 integration service for abdominal ultrasound of dogs and cats.

app.py worker.py cli.py     doors
joined.py                   the rooms joined: what answers HTTP
commands/ demo/             the command line, a file a command; the demo's story
settings.py                 read once from the environment
api/        answers HTTP                          courier/    carries finished posts outward
access/     who is asking                         actions/    one verb per file
fhir/       text <-> values, checks, search keys  store/      remembers
catalogue/  mappings/ as frozen, checked values
exam/       the survey and its report, pure       billing/    the charge and its invoice, pure
basics/     words everyone shares, pure
"""
