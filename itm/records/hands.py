"""Whose hands did it, where a paper names somebody else than who types it in."""

from itm.accounts.actor import Actor
from itm.core.errors import Refused

LONGEST = 50  # characters of a name on paper


def whose(actor: Actor, by: str) -> str:
    """The name for the record: who did it, and who typed that in; both in the one column that every
    page and report prints. Raises Refused by_long."""
    name = " ".join(by.split())
    if len(name) > LONGEST:
        raise Refused("by_long", f"A name of at most {LONGEST} characters.", "by")
    if name.casefold() in ("", actor.person.casefold()):
        return actor.person
    return f"{name}, typed in by {actor.person}"[:120]


def hand_of(person: str) -> str:
    """Who did it, of a name as `whose` and a file of field capture write it."""
    return person.split(", typed in by ")[0].split(", handed in as a file by ")[0]
