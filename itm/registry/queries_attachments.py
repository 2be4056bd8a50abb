"""Photos and papers that a person may read."""

from collections.abc import Callable, Collection
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.registry import queries, queries_equipment
from itm.registry.attaching import COLUMN, Target
from itm.registry.finding import Wanted, arranged, one
from itm.registry.models import Attachment, Instrument, Site
from itm.registry.models.attachments import APART

FOUND: dict[str, Callable[[Actor, UUID], Any]] = {
    "system": queries.system,
    "proportioner": queries.proportioner,
    "tank": queries.tank,
    "equipment": queries_equipment.equipment,
    "lot": queries.lot,
    "instrument": queries.instrument,
    "certificate": queries.certificate,
}
SORTS = {"name": "name", "site": "site__name", "added_at": "added_at", "size": "size"}
NARROWS = {"site": "site__key", "kind": "content_type"}
KINDS = (("image/jpeg", "photos"), ("image/png", "PNG pictures"), ("application/pdf", "PDFs"))
_THINGS = (
    "site", "organisation", "system", "proportioner", "tank", "equipment", "lot", "instrument",
    "certificate__instrument",
)  # fmt: skip


def attachments(actor: Actor, wanted: Wanted) -> QuerySet[Attachment]:
    """Those in force over all sites, lots and instruments, or on one site."""
    rows = Attachment.objects.visible_to(actor).filter(withdrawn_at=None)
    return arranged(
        rows.select_related(*_THINGS), wanted, find_in=("name", "caption"), sorts=SORTS,
        narrows=NARROWS, retirable=False,
    )  # fmt: skip


def attachments_of(actor: Actor, target: Target) -> list[Attachment]:
    """The newest first, with those that were withdrawn; of a site those on the site alone, of an
    instrument those of its certificates too."""
    rows = Attachment.objects.visible_to(actor)
    if isinstance(target, Site):
        rows = rows.filter(site=target, **{f"{name}__isnull": True for name in COLUMN.values()})
    elif isinstance(target, Instrument):
        rows = rows.filter(Q(instrument=target) | Q(certificate__instrument=target))
    else:
        rows = rows.filter(**{COLUMN[type(target)]: target})
    return list(rows.select_related("site", "organisation", "lot", "certificate"))


def attachment_count(actor: Actor, site: Site) -> int:
    return Attachment.objects.visible_to(actor).filter(site=site, withdrawn_at=None).count()


def attachment(actor: Actor, key: UUID) -> Attachment:
    return one(Attachment.objects.visible_to(actor).select_related(*_THINGS), "file", key)


def file_to_serve(actor: Actor, key: UUID) -> Attachment:
    """One that is in force: what was withdrawn is served to nobody."""
    rows = Attachment.objects.visible_to(actor).filter(withdrawn_at=None)
    return one(rows, "file", key)


def let_go_among(keys: Collection[str]) -> dict[str, str]:
    """Of files that the caller's rows name: those whose bytes were let go, with the words."""
    if not keys:
        return {}
    gone = Attachment.objects.filter(key__in=keys).exclude(let_go="")
    return {str(key): words for key, words in gone.values_list("key", "let_go")}


def target_at(actor: Actor, site: Site, at: str) -> Target:
    """The thing that an address names as “tank:key”, on this very site; nothing is the site."""
    if not at:
        return site
    name, _, key = at.partition(":")
    if name in APART:
        raise NotFound("thing", at)
    try:
        row: Target = FOUND[name](actor, UUID(key))
    except (KeyError, ValueError) as error:
        raise NotFound("thing", at) from error
    if queries.site_of(row) != site:
        raise NotFound("thing", at)
    return row


def target_apart(actor: Actor, name: str, key: UUID) -> Target:
    """A lot, an instrument or a certificate, which stand at no site."""
    row: Target = FOUND[name](actor, key)
    return row
