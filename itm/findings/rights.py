"""Who may do what about a finding."""

from typing import Any

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden
from itm.findings.models import Deficiency, Impairment
from itm.registry import access
from itm.registry.access import works_at
from itm.registry.models import Site

QUALIFIED = ("supervisor", "manager")


def may_write(actor: Actor, finding: Any) -> bool:
    """Who works at the site; and of an impairment who took the systems out, whatever its last day
    was, until they are back. What it found besides it only reads afterwards: whoever is not there
    any more neither repairs nor looks."""
    began = isinstance(finding, Impairment) and _found(actor, finding)
    return began or works_at(actor, finding.site)


def may_tell(actor: Actor, deficiency: Deficiency) -> bool:
    """Also whoever found it: a result may come in after its last day, and only its crew knows whom
    it told before leaving."""
    return works_at(actor, deficiency.site) or _found(actor, deficiency)


def _found(actor: Actor, finding: Deficiency | Impairment) -> bool:
    found = finding.organisation_id
    return found is not None and found == actor.organisation_id


def may_decide(actor: Actor, finding: Any) -> bool:
    """Another class, and the end of it: a qualified person, which a supervisor or manager with a
    qualification on record is."""
    known = actor.user is not None and bool(actor.user.qualification.strip())
    return known and actor.role in QUALIFIED and works_at(actor, finding.site)


def require_work(actor: Actor, site: Site) -> None:
    access.require_work(actor, site, "note findings")


def require_write(actor: Actor, finding: Any) -> None:
    if not may_write(actor, finding):
        raise Forbidden(
            "Only the owner's own people, a contractor engaged here or who took systems out can "
            "write here."
        )


def require_tell(actor: Actor, deficiency: Deficiency) -> None:
    if not may_tell(actor, deficiency):
        raise Forbidden(
            "Only the owner's own people, a contractor engaged here or who found it can say who "
            "was told."
        )


def require_decide(actor: Actor, finding: Any) -> None:
    if not may_decide(actor, finding):
        raise Forbidden(
            "This is decided by a supervisor or manager of the owner or of a contractor engaged "
            "here, with a qualification on record."
        )


def require_owner(actor: Actor, site: Site, what: str) -> None:
    if actor.organisation_id != site.owner_id:
        raise Forbidden(f"Only the owner of the site can {what}.")
