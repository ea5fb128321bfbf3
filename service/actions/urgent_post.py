"""An urgent finding that was confirmed, tried or received into posts for the destinations that asked for it."""

from service.actions import delivering
from service.actions.case import open_case
from service.actions.ports import Caller, House
from service.actions.urgent_case import Matter
from service.basics import destination

SHARE = "urgent"


def tell(house: House, caller: Caller, matter: Matter) -> None:
    """Post what is about to be written of who was told, before it is written; a repeat that changes nothing posts none.

    A post is a record that travels. It replaces nobody's call."""
    spoken = matter.communication
    if spoken is None or not any(one is spoken for one in matter.changed):
        return
    if not any(SHARE in destination.read(terms).sends for _, terms in matter.work.routes()):
        return
    case = open_case(house, matter.work, caller, matter.exam)
    about = [one for one in (spoken, matter.message, matter.finding) if one is not None]
    number = f"{spoken['id']}.{int(spoken.get('meta', {}).get('versionId', 0)) + 1}"
    delivering.promise(house, matter.work, case, SHARE, about, number=number, share=SHARE)
