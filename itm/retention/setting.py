"""Which periods hold at a site: rules that the owner adopts, and periods of its own."""

from collections.abc import Collection, Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import NotFound, Refused
from itm.registry import services as registry
from itm.registry.models import Attachment, Site
from itm.registry.services import keep
from itm.retention.models import PAPERS, CountsFrom, KeepingPeriod, KeepingRule, Kind, PaperKind
from itm.retention.periods import Period

WHAT = "decide how long the records of a site are kept"
MOST_YEARS = 100


def require_keeper(actor: Actor, site: Site) -> None:
    """A supervisor or manager of the owner. Raises Forbidden."""
    registry.require_keeper(actor, site, WHAT)


def own_sites(actor: Actor) -> QuerySet[Site]:
    """Of the actor's organisation, also those that are retired: their records are kept on."""
    return Site.objects.visible_to(actor).filter(owner=actor.organisation_id)


def rule(code: str) -> KeepingRule:
    found = KeepingRule.objects.filter(code=code).first()
    if found is None:
        raise NotFound("rule of keeping", code)
    return found


def period(actor: Actor, key: UUID) -> KeepingPeriod:
    rows = KeepingPeriod.objects.visible_to(actor).select_related("site", "rule")
    found = rows.filter(key=key).first()
    if found is None:
        raise NotFound("period of keeping", key)
    return found


def in_force(sites: Iterable[int]) -> QuerySet[KeepingPeriod]:
    """For code that holds the sites by right."""
    rows = KeepingPeriod.objects.filter(site__in=list(sites), ended_on=None)
    return rows.select_related("rule", "site")


def periods_at(sites: Collection[int]) -> dict[int, list[Period]]:
    """By primary key of the site, as the pure rule reads them."""
    out: dict[int, list[Period]] = {pk: [] for pk in sites}
    for one in in_force(sites):
        out[one.site_id].append(as_period(one))
    return out


def as_period(one: KeepingPeriod) -> Period:
    if one.rule is not None:
        kinds = frozenset(one.rule.kinds)
        return Period(kinds, one.rule.years, one.rule.counts_from, str(one))
    return Period(frozenset({one.kind}), one.years or 0, CountsFrom.DONE, str(one))


@transaction.atomic
def adopt(
    *, actor: Actor, rule: KeepingRule, sites: Collection[Site], checked_against: str, at: datetime
) -> list[KeepingPeriod]:
    """It holds at each of these sites from today on; where it holds already nothing changes.

    Raises Forbidden; Refused no_site, not_confirmed.
    """
    if not sites:
        raise Refused("no_site", "Choose at least one site.", "sites")
    for site in sites:
        require_keeper(actor, site)
    if rule.needs_confirmation and not checked_against.strip():
        raise Refused(
            "not_confirmed",
            f"This rule is {rule.confidence}: name the law, edition or paper that it was compared "
            "with.",
            "checked_against",
        )
    # Two who adopt at once follow each other.
    list(Site.objects.select_for_update().filter(pk__in=[one.pk for one in sites]).order_by("pk"))
    there = set(
        KeepingPeriod.objects.filter(site__in=sites, rule=rule, ended_on=None).values_list(
            "site", flat=True
        )
    )
    return [
        KeepingPeriod.objects.create(
            by=actor, site=site, rule=rule, checked_against=checked_against.strip(),
            set_by=actor.person, starts_on=date_at(site.time_zone, at),
        )
        for site in dict.fromkeys(sites)
        if site.pk not in there
    ]  # fmt: skip


@transaction.atomic
def set_own(
    *, actor: Actor, site: Site, kind: str, years: int, why: str, at: datetime
) -> KeepingPeriod:
    """A period of the owner's own beside the rules. A longer one takes the place of the one
    before; none is ever shorter than a rule that holds here.

    Raises Forbidden; Refused shorter_than_rule, shorter_than_before, and what the row refuses.
    """
    require_keeper(actor, site)
    Site.objects.select_for_update().get(pk=site.pk)
    today = date_at(site.time_zone, at)
    for one in in_force([site.pk]):
        if one.rule is not None and kind in one.rule.kinds:
            _require_no_shorter(one.rule, years)
    before = KeepingPeriod.objects.filter(site=site, rule=None, kind=kind, ended_on=None).first()
    if before is not None:
        if years <= (before.years or 0):
            raise Refused(
                "shorter_than_before",
                f"{before.years} years are set here already. End that period first, with a "
                "reason, if a shorter one is meant.",
                "years",
            )
        end(actor=actor, row=before, why=f"replaced by {years} years: {why}"[:300], at=at)
    row = KeepingPeriod(site=site, set_by=actor.person, starts_on=today)
    return keep(row, {"kind": kind, "years": years, "why": why.strip()}, by=actor, verb="set")


def _require_no_shorter(rule: KeepingRule, years: int) -> None:
    if rule.counts_from == CountsFrom.DONE and years < rule.years:
        raise Refused(
            "shorter_than_rule",
            f"{rule.source} holds here and asks for {rule.how_long}; {years} would be shorter and "
            "change nothing, because the longest counts. If that rule does not hold at this site, "
            "end it first and say why.",
            "years",
        )


@transaction.atomic
def end(*, actor: Actor, row: KeepingPeriod, why: str, at: datetime) -> KeepingPeriod:
    """Today is its last day. May run twice. Raises Forbidden; Refused why_missing."""
    require_keeper(actor, row.site)
    row = KeepingPeriod.objects.select_for_update().get(pk=row.pk)
    if row.ended_on is not None:
        return row
    if not why.strip():
        raise Refused("why_missing", "Say why it no longer holds here.", "why")
    today = max(date_at(row.site.time_zone, at), row.starts_on)
    values = {"ended_on": today, "ended_by": actor.person, "ended_why": why.strip()}
    return keep(row, values, by=actor, verb="ended")


@transaction.atomic
def say(
    *, actor: Actor, site: Site, kinds: dict[UUID, str], at: datetime
) -> list[PaperKind]:  # fmt: skip
    """What these files of the site are; what is said already is not said twice.

    Raises Forbidden, NotFound; Refused unknown_kind.
    """
    require_keeper(actor, site)
    rows = Attachment.objects.visible_to(actor).filter(site=site, key__in=kinds)
    found = {row.key: row for row in rows.order_by("pk")}
    said = dict(
        PaperKind.objects.filter(attachment__in=rows.values("pk"))
        .order_by("pk")
        .values_list("attachment", "kind")
    )
    out = []
    for key, kind in kinds.items():
        if key not in found:
            raise NotFound("file", key)
        if kind not in [one.value for one in PAPERS]:
            raise Refused("unknown_kind", "Choose what the file is.", str(key))
        row = found[key]
        if said.get(row.pk) != kind and not (kind == Kind.PHOTO and row.pk not in said):
            out.append(
                PaperKind.objects.create(
                    by=actor, attachment=row, kind=kind, said_by=actor.person, said_at=at
                )
            )
    return out


def all_rules() -> QuerySet[KeepingRule]:
    return KeepingRule.objects.all()


def holding(actor: Actor) -> dict[int | None, list[KeepingPeriod]]:
    """By primary key of a rule the sites at which the actor sees that it holds."""
    held: dict[int | None, list[KeepingPeriod]] = {}
    rows = KeepingPeriod.objects.visible_to(actor).filter(~Q(rule=None), ended_on=None)
    for one in rows.select_related("site").order_by("site__name", "pk"):
        held.setdefault(one.rule_id, []).append(one)
    return held


def rules(actor: Actor) -> list[tuple[KeepingRule, list[KeepingPeriod]]]:
    """Every rule with the sites at which the actor sees that it holds."""
    held = holding(actor)
    return [(one, held.get(one.pk, [])) for one in all_rules()]
