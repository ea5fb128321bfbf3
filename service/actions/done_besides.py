"""What the evidence of an exam says was done besides it, into how often it is charged."""

from collections import Counter
from collections.abc import Iterable, Mapping

from service.catalogue.catalogue import Catalogue
from service.exam.body_site import place
from service.exam.evidence import Evidence, Sighting

PROCEDURES: Mapping[str, str] = {  # notes about the exam that say what else was done -> trigger
    "note:sample": "sample",
    "note:cystocentesis": "cystocentesis",
    "note:drainage": "drainage",
    "note:clipping": "clipping",
    "note:image-export": "export",
    "note:call-out": "call-out",
}


def times(evidence: Iterable[Evidence], rules: Catalogue) -> Mapping[str, int]:
    """How often each trigger was shown: samples by their site, everything else by its resource.

    What was told both by a Procedure and by an Observation was done once: the more of the two counts."""
    found: dict[str, dict[str, set[object]]] = {}  # trigger -> kind of resource -> what tells one from another
    for one in evidence:
        seen = one.sighting
        for trigger in (PROCEDURES[item] for item in one.items if item in PROCEDURES):
            if seen.answer is not False and not seen.absent and not seen.retracted:
                kind = "" if trigger == "sample" else seen.kind
                found.setdefault(trigger, {}).setdefault(kind, set()).add(_told_apart(trigger, seen, rules))
    return Counter({trigger: max(map(len, kinds.values())) for trigger, kinds in found.items()})


def _told_apart(trigger: str, seen: Sighting, rules: Catalogue) -> object:
    if trigger != "sample" or not seen.site:
        return seen.source
    return place(seen.site, rules).structure or frozenset((c.system, c.code) for c in seen.site)
