"""What was seen at the scanner, before and after it found its step."""

from decimal import Decimal

from service.basics.coding import Coding
from service.basics.values import value


@value
class Part:
    """One component of a record: what it is about, and what it says in codes or in words.

    key: what it is about in our words ("kind"), once a row knows it; text is then the word of our vocabulary."""

    codes: tuple[Coding, ...]
    words: tuple[Coding, ...] = ()
    text: str = ""
    key: str = ""


@value
class Sighting:
    """One Observation, Media or ImagingStudy as sent, read but not yet understood."""

    source: str  # "Observation/<id>"
    kind: str  # observation, still, clip, study, operation, procedure, lesion, lesion-part
    codes: tuple[Coding, ...] = ()
    site: tuple[Coding, ...] = ()  # codings of bodySite, laterality among them
    planes: tuple[Coding, ...] = ()
    at: str = ""  # instant or dateTime of the look
    by: str = ""  # who, as a reference or name
    quantity: Decimal | None = None
    unit: str = ""  # UCUM
    words: tuple[Coding, ...] = ()  # codings of a coded value
    text: str = ""
    absent: tuple[Coding, ...] = ()  # dataAbsentReason
    limitation: tuple[Coding, ...] = ()  # component: seen in part because of
    window: str = ""
    station: int | None = None
    confirmed: bool = False  # an implausible value was confirmed by a person
    retracted: bool = False  # entered-in-error
    doppler: bool = False
    disposition: str = ""  # the sender states how the step ended: a disposition code, with reason, text and operation
    reason: str = ""  # key of a not-seen reason
    operation: str = ""
    answer: bool | None = None  # a plain yes or no
    formula: str = ""  # key of the formula by which the value was computed here; "" for what was sent or stated
    readings: int = 0  # of a mean: how many
    unrounded: Decimal | None = None  # the computed value with all its digits: what is compared with a limit
    differs: tuple[str, ...] = ()  # what a result that was sent should be by its own inputs, in words
    place: str = ""  # where in the structure it was taken: a code of mappings/places.csv
    which: str = ""  # of several alike (fetuses), the one that is spoken of
    parts: tuple[Part, ...] = ()  # of a lesion: each component that has a value
    part: int = -1  # which component says it; -1: the resource itself


@value
class Evidence:
    """A sighting that found its structure: what it proves there, as entries' items ("plane:long", "measure:length")."""

    sighting: Sighting
    structure: str
    items: tuple[str, ...]
    value: str = ""  # value code of a finding


@value
class Unmapped:
    """A sighting that no row leads to a step: kept, listed, counted. what: site, site-ambiguous, code, value, plane."""

    sighting: Sighting
    what: str
    coding: Coding
    structures: tuple[str, ...] = ()  # where it may belong: nothing there is as expected until a person has read it
    item: str = ""  # the question it seems to answer ("finding:size"), when that much is known
