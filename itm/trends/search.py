"""One search over everything that the actor may see: sites, things, lots, instruments, records."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.check_queries import CHECK_COLUMNS, check_fits
from itm.records.finding import RECORD_COLUMNS, record_fits
from itm.records.models import ConcentrateCheck, ConcentrateSample, ProportioningTest
from itm.registry.finding import matching, terms
from itm.registry.models import (
    Attachment,
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Site,
    Store,
    Tank,
)

SHOWN = 10  # of each kind; the kind's own list has the rest


@dataclass(frozen=True)
class Hit:
    """`page` is the name of the address, `said` where it stands and what it is."""

    page: str
    key: UUID
    title: str
    said: str
    retired_on: date | None = None


@dataclass(frozen=True)
class Group:
    """What was found of one kind; `listed` names the list with the rest, where there is one."""

    title: str
    hits: list[Hit]
    more: bool
    listed: str = ""


@dataclass(frozen=True)
class Kind:
    title: str
    rows: Callable[[Actor], QuerySet[Any]]
    find_in: tuple[str, ...]
    hit: Callable[[Any], Hit]
    order: tuple[Any, ...]
    listed: str = ""
    also: Callable[[str], Q] | None = None


def found(actor: Actor, text: str) -> list[Group]:
    """Kinds in which something was found, one query each; nothing for an empty text."""
    if not terms(text):
        return []
    groups = (_found(actor, text, kind) for kind in KINDS)
    return [group for group in groups if group.hits]


def _found(actor: Actor, text: str, kind: Kind) -> Group:
    rows = matching(kind.rows(actor), text, kind.find_in, kind.also)
    first = list(rows.order_by(*kind.order, "pk")[: SHOWN + 1])
    hits = [kind.hit(row) for row in first[:SHOWN]]
    return Group(kind.title, hits, len(first) > SHOWN, kind.listed)


def _words(*parts: object) -> str:
    return ", ".join(str(part) for part in parts if part)


IN_USE_FIRST = F("retired_on").desc(nulls_first=True)


def _things(model: Any, *joined: str) -> Callable[[Actor], QuerySet[Any]]:
    return lambda actor: model.objects.visible_to(actor).select_related(*joined)


def _attachments(actor: Actor) -> QuerySet[Attachment]:
    rows = Attachment.objects.visible_to(actor).filter(withdrawn_at=None)
    return rows.select_related("site", "lot", "instrument", "certificate__instrument")


KINDS: Iterable[Kind] = (
    Kind(
        "Sites",
        _things(Site, "owner"),
        ("name", "address", "country", "owner__name"),
        lambda row: Hit(
            "site", row.key, row.name, _words(row.owner.name, row.country), row.retired_on
        ),
        (IN_USE_FIRST, "name"),
        "sites",
    ),
    Kind(
        "Foam systems",
        _things(FoamSystem, "site"),
        ("name", "hazard", "site__name"),
        lambda row: Hit(
            "system", row.key, row.name, _words(row.site, row.get_kind_display()), row.retired_on
        ),
        (IN_USE_FIRST, "name"),
        "systems",
    ),
    Kind(
        "Proportioners",
        _things(Proportioner, "system__site"),
        ("tag", "system__name", "system__site__name"),
        lambda row: Hit(
            "proportioner",
            row.key,
            row.tag,
            _words(row.system.site, row.system, row.get_kind_display()),
            row.retired_on,
        ),
        (IN_USE_FIRST, "tag"),
        "proportioners",
    ),
    Kind(
        "Tanks",
        _things(Tank, "site"),
        ("tag", "site__name"),
        lambda row: Hit(
            "tank", row.key, row.tag, _words(row.site, row.get_kind_display()), row.retired_on
        ),
        (IN_USE_FIRST, "tag"),
        "tanks",
    ),
    Kind(
        "Equipment",
        _things(Equipment, "site", "system", "tank"),
        ("tag", "name", "place", "maker", "model", "serial_number", "site__name"),
        lambda row: Hit(
            "equipment",
            row.key,
            row.tag,
            _words(row.site, row.name or row.what, row.place),
            row.retired_on,
        ),
        (IN_USE_FIRST, "tag"),
        "equipment_list",
    ),
    Kind(
        "Lots",
        _things(ConcentrateLot, "owner"),
        ("product", "batch"),
        lambda row: Hit("lot", row.key, str(row), row.get_kind_display()),
        ("product", "batch"),
        "lots",
    ),
    Kind(
        "In store",
        _things(Store, "site", "lot"),
        ("lot__product", "lot__batch", "place", "site__name"),
        lambda row: Hit(
            "store",
            row.key,
            str(row.lot),
            _words(row.site, row.get_standing_display(), row.place),
        ),
        ("lot__product", "lot__batch"),
        "stores",
    ),
    Kind(
        "Instruments",
        _things(Instrument),
        ("name", "serial_number"),
        lambda row: Hit("instrument", row.key, str(row), row.get_method_display(), row.retired_on),
        (IN_USE_FIRST, "name"),
        "instruments",
    ),
    Kind(
        "Records",
        _things(ProportioningTest, "site", "proportioner__system"),
        RECORD_COLUMNS,
        lambda row: Hit(
            "test",
            row.key,
            f"Proportioning test of {day(row.tested_on)}",
            _words(row.site, row.proportioner.system, row.proportioner, row.get_state_display()),
        ),
        ("-tested_on",),
        "records",
        record_fits,
    ),
    Kind(
        "Concentrate checks",
        _things(ConcentrateCheck, "site", "tank"),
        CHECK_COLUMNS[:3],
        lambda row: Hit(
            "check",
            row.key,
            f"Concentrate check of {day(row.checked_on)}",
            _words(row.site, f"tank {row.tank}", row.limits, row.get_state_display()),
        ),
        ("-checked_on",),
        "checks",
        check_fits,
    ),
    Kind(
        "Concentrate samples",
        lambda actor: (
            ConcentrateSample.objects.visible_to(actor)
            .filter(copied=False)
            .select_related("concentrate_check__site", "concentrate_check__tank")
        ),
        ("label", "laboratory", "consignment", "report__number"),
        lambda row: Hit(
            "check",
            row.concentrate_check.key,
            row.label,
            _words(row.concentrate_check.site, row.laboratory, row.concentrate_check),
        ),
        ("-taken_at",),
        "bottles",
    ),
    Kind(
        "Photos and papers",
        _attachments,
        (
            "name", "caption", "site__name", "lot__product", "lot__batch", "instrument__name",
            "instrument__serial_number", "certificate__number", "certificate__instrument__name",
            "certificate__instrument__serial_number",
        ),
        lambda row: Hit(
            "attachment_file", row.key, row.name, _words(row.site or row.hangs_on, row.caption)
        ),
        ("-added_at",),
        "attachments",
    ),
)  # fmt: skip
