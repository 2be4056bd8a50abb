"""A duty that is overdue is a deficiency where its row, the owner or the authority says so.

The clock opens it, once for each cycle that is missed, and nobody is named as having found it.
What is done later proposes to close it, as other records do.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery

from itm.accounts.actor import Actor, leads, require_lead, system
from itm.core.clock import date_at
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.findings import opening
from itm.findings.clocks import sites_to_adopt_for
from itm.findings.lives import say
from itm.findings.models import Deficiency, OverdueRule, Step
from itm.findings.rules import Late
from itm.findings.showing import missed
from itm.records.models import ConcentrateCheck, InspectionLine, ProportioningTest
from itm.registry.finding import one
from itm.registry.models import Site
from itm.schedule import adoption_queries, wording
from itm.schedule.deriving import EVERYWHERE
from itm.schedule.models import TO_COME, Duty, Requirement
from itm.schedule.models.duties import LINKS
from itm.schedule.models.programmes import LOOKED_UP
from itm.schedule.rules import window_of

Verb = Step.Verb
NAMES = (Verb.OPENED, Verb.FOUND_AGAIN)
WHAT = "say when an overdue duty is a deficiency"
WAYS = ("requirement__programme", "site", "proportioner__system", "tank", "equipment", "system")


def sweep(now: datetime) -> None:
    """For all sites. May run at any time, twice and beside itself: each cycle that is missed is
    named once in the life of a deficiency, which the database holds."""
    by = system(now.date(), via="sweep", at=now)
    _open(by, missing().filter(stands=Duty.Stands.OVERDUE), now)
    _follow(by, changed(), now)


def open_now(*, site: Site, at: datetime) -> None:
    """What is overdue at this moment. Asked before a record is taken, so that it completes nothing
    that the clock has not seen, wherever the sweep stands. The caller owns the transaction."""
    today = date_at(site.time_zone, at)
    late = Q(stands=Duty.Stands.OVERDUE) | Q(stands__in=TO_COME, latest_on__lt=today)
    _open(system(today, via="sweep", at=at), missing().filter(late, site=site), at)


def after_record(*, actor: Actor, site: Site, at: datetime) -> None:
    """What the records of the site now say of those that are open. May run twice."""
    _follow(actor, opening.open_ones(site=site, cause=Deficiency.Cause.OVERDUE), at)


# Opening ------------------------------------------------------------------------------------------


def about(code: Any, programme: Any, task: Any) -> Q:
    """Rules about a row: the same task through all editions of its programme. What was said of the
    yearly test or check that holds everywhere goes on for whatever row is adopted in its place."""
    own = Q(requirement__code=code, requirement__programme__code=programme)
    base = Q(requirement__programme__everywhere=True, requirement__task__in=EVERYWHERE)
    return own | base & Q(requirement__task=task)


def rules_for() -> QuerySet[OverdueRule]:
    """Those that hold for a row of duties."""
    row = "requirement__"
    names = (f"{row}code", f"{row}programme__code", f"{row}task")
    rules = OverdueRule.objects.filter(ended_on=None, site=OuterRef("site"))
    return rules.filter(about(*(OuterRef(name) for name in names)))


def said_by_rows() -> Q:
    return Q(
        requirement__overdue_class__isnull=False, requirement__overdue_confidence__in=LOOKED_UP
    )


def missing() -> QuerySet[Duty]:
    """Cycles not done that a rule is about and no open deficiency names."""
    named = Step.objects.filter(
        duty=OuterRef("pk"), deficiency__closed_at=None, since_on__gt=OuterRef("latest_on"),
        verb__in=NAMES,
    )  # fmt: skip
    rows = Duty.objects.filter(done_on=None, withdrawn_on=None).exclude(Exists(named))
    # Mostly nobody has said so: then none of a million duties is looked at.
    said = OverdueRule.objects.filter(ended_on=None)
    says = Requirement.objects.filter(
        overdue_class__isnull=False, overdue_confidence__in=LOOKED_UP
    )  # fmt: skip
    if not says.exists() and not said.exists():
        return Duty.objects.none()
    at_such = Q(site__in=said.values("site")) & Exists(rules_for())
    return rows.filter(Q(requirement__in=says.values("pk")) | at_such)


def _open(by: Actor, duties: QuerySet[Duty], now: datetime) -> None:
    for duty in list(duties.select_related(*WAYS).order_by("latest_on", "pk")):
        said = said_of(duty)
        if said is None:
            continue
        try:
            with transaction.atomic():
                opening.raise_found(
                    by, _late(duty, said), origin=duty, hook=_hook(duty), at=now, site=duty.site,
                    found_on=max(_since(duty), said.since),
                )  # fmt: skip
        except IntegrityError:
            continue  # another sweep was a moment faster


@dataclass(frozen=True)
class Said:
    """What makes a deficiency of it, and from which day on."""

    severity: int
    ground: str
    since: date


def said_of(duty: Duty) -> Said | None:
    """The worst class that holds for it today."""
    row, out = duty.requirement, []
    if row.says_overdue:
        ground = f"Overdue by its programme: {row.overdue_source}; {row.overdue_confidence}."
        out.append(Said(row.overdue_class or 0, ground, date.min))
    rules = OverdueRule.objects.filter(site=duty.site, ended_on=None)
    rules = rules.filter(about(row.code, row.programme.code, row.task))
    for rule in rules.select_related("adopter"):
        ground = f"{rule.adopter} has said so for this site on {day(rule.starts_on)}: "
        out.append(Said(rule.severity, ground + rule.because, rule.starts_on))
    return min(out, key=lambda one: one.severity, default=None)


def _since(duty: Duty) -> date:
    return duty.latest_on + timedelta(days=1)


def _late(duty: Duty, said: Said) -> Late:
    row = duty.requirement
    extra = "" if duty.cause == Duty.Cause.PERIODIC else f", {duty.get_cause_display()}"
    words = f"Overdue since {day(_since(duty))}: {row}{extra}"
    spot = f"{row.programme.code} {row.code} {duty.cause}"
    return Late(spot, words, said.severity, said.ground[:400])


def _hook(duty: Duty) -> dict[str, Any]:
    return {name: thing for name in LINKS if (thing := getattr(duty, name)) is not None}


# What follows -------------------------------------------------------------------------------------


def changed() -> QuerySet[Deficiency]:
    """Open ones of which the cycle named last is overdue no longer, or the rule has ended, and in
    whose life nothing was said since. What a record changes is told with the record."""
    of = Step.objects.filter(deficiency=OuterRef("pk"))
    last = of.filter(verb__in=NAMES).order_by("-pk")
    said = of.filter(verb__in=[Verb.PROPOSED, Verb.UNSETTLED], pk__gt=OuterRef("last"))
    held = Duty.objects.filter(pk=OuterRef("last_duty"), stands=Duty.Stands.OVERDUE)
    held = held.filter(said_by_rows() | Exists(rules_for()))
    rows = opening.open_ones(cause=Deficiency.Cause.OVERDUE)
    rows = rows.annotate(
        last=Subquery(last.values("pk")[:1]), last_duty=Subquery(last.values("duty")[:1])
    )
    return rows.exclude(Exists(held)).exclude(Exists(said)).order_by("pk")


def _follow(by: Actor, rows: QuerySet[Deficiency], now: datetime) -> None:
    lines = Step.objects.select_related(*(f"duty__{way}" for way in WAYS)).order_by("pk")
    for row in rows.prefetch_related(Prefetch("steps", lines)):
        life = list(row.steps.all())
        last = [step for step in life if step.verb in NAMES][-1]
        since = life[life.index(last) + 1 :]
        if last.duty is not None:
            _say_what_changed(by, row, last.duty, last, since, now)


def _say_what_changed(
    by: Actor, row: Deficiency, duty: Duty, last: Step, since: Iterable[Step], now: datetime
) -> None:
    record = record_of(duty)
    if duty.done_on is not None and record is not None and missed(duty, last.since_on):
        link = opening.origin_of(record)
        if not any(step.verb == Verb.PROPOSED and step.record == record for step in since):
            say(by, row, Verb.PROPOSED, now, _done_words(duty), **link)
        return
    words = _not_overdue(duty, last)
    if words and not any(step.words == words for step in since):
        say(by, row, Verb.UNSETTLED, now, words)


def _done_words(duty: Duty) -> str:
    late = (duty.done_on - duty.latest_on).days if duty.done_on else 0
    return f"Done on {day(duty.done_on)}, {late} {'day' if late == 1 else 'days'} after its latest."


def _not_overdue(duty: Duty, last: Step) -> str:
    """Why it is no cycle that is missed; empty where it still is."""
    if duty.withdrawn_on is not None:
        return "Rules and records as they now stand do not ask for it any more."
    if duty.done_on is not None:
        if missed(duty, last.since_on):
            return f"Done on {day(duty.done_on)}, by what no record here shows."
        return f"It was done in time, on {day(duty.done_on)}, as was noted since."
    if duty.stands != Duty.Stands.OVERDUE:
        if duty.stands == Duty.Stands.AT_REST:
            return "What it is asked of is not in use."
        return f"Its latest day has moved to {day(duty.latest_on)}."
    if said_of(duty) is None:
        return "Nobody says any more that it is a deficiency when this is overdue."
    return ""


def record_of(duty: Duty) -> ProportioningTest | ConcentrateCheck | InspectionLine | None:
    """The record that completed the cycle; of a round of inspection the line about this task."""
    if duty.done_by_record is None:
        return None
    tests = ProportioningTest.objects.filter(key=duty.done_by_record)
    checks = ConcentrateCheck.objects.filter(key=duty.done_by_record)
    row, hook = duty.requirement, {name: getattr(duty, name) for name in LINKS}
    lines = InspectionLine.objects.filter(
        inspection__key=duty.done_by_record, requirement__code=row.code, corrected_by=None,
        requirement__programme__code=row.programme.code, **hook,
    )  # fmt: skip
    return tests.first() or checks.first() or lines.first()


# Who says so --------------------------------------------------------------------------------------


def rows_at(site: Site, at: datetime) -> list[tuple[Requirement, str]]:
    """Every row that asks for something at the site, with when."""
    held = [
        (one.requirement, wording.when(one.requirement, one.window))
        for one in adoption_queries.held_at(site, date_at(site.time_zone, at))
    ]
    everywhere = [(one, wording.when(one, window_of(one))) for one in adoption_queries.everywhere()]
    return [*held, *everywhere]


def row_at(site: Site, at: datetime, pk: int) -> tuple[Requirement, str]:
    found = next((pair for pair in rows_at(site, at) if pair[0].pk == pk), None)
    if found is None:
        raise NotFound("row of a programme", pk)
    return found


def row_named(site: Site, at: datetime, programme: str, code: str) -> Requirement:
    """By the codes that stay the same through all editions. Raises Refused not_asked."""
    for row, _ in rows_at(site, at):
        if (row.programme.code, row.code) == (programme, code):
            return row
    raise Refused(
        "not_asked",
        f"No row “{code[:40]}” of “{programme[:60]}” asks for anything at this site.",
        "row",
    )


def all_rules(actor: Actor) -> QuerySet[OverdueRule]:
    """At all sites that the actor sees, those too that were ended."""
    rows = OverdueRule.objects.visible_to(actor)
    return rows.select_related("site", "adopter", "requirement__programme")


def rule(actor: Actor, key: UUID) -> OverdueRule:
    return one(all_rules(actor), "rule", key)


def rules_at(site: Site) -> QuerySet[OverdueRule]:
    rows = OverdueRule.objects.filter(site=site, ended_on=None)
    return rows.select_related("adopter", "requirement__programme", "site")


def is_about(rule: OverdueRule, row: Requirement) -> bool:
    """The same as `about`, of rows at hand."""
    said = rule.requirement
    if (said.programme.code, said.code) == (row.programme.code, row.code):
        return True
    return said.programme.everywhere and said.task == row.task and row.task in EVERYWHERE


def require_sayer(actor: Actor, rule: OverdueRule) -> None:
    if rule.adopter_id != actor.organisation_id:
        raise Forbidden(f"Only {rule.adopter}, who said so, can end it.")
    require_lead(actor, what=WHAT)


def may_say(actor: Actor, site: Site) -> bool:
    return leads(actor) and sites_to_adopt_for(actor).filter(pk=site.pk).exists()


def require_say(actor: Actor, site: Site) -> None:
    if not sites_to_adopt_for(actor).filter(pk=site.pk).exists():
        raise Forbidden(
            "Only the owner of the site or its authority says when an overdue duty is a deficiency."
        )
    require_lead(actor, what=WHAT)


@transaction.atomic
def say_overdue(
    *, actor: Actor, site: Site, requirement: Requirement, severity: int, because: str, at: datetime
) -> OverdueRule:
    """From today on, also for what is overdue already. Said again it takes the place of what the
    same organisation said before.

    Raises Forbidden; Refused class_missing, because_missing.
    """
    require_say(actor, site)
    if severity not in Deficiency.Severity.values:
        raise Refused("class_missing", "Choose one of the three classes.", "severity")
    if not because.strip():
        raise Refused(
            "because_missing", "Say why, or name the paper that says so.", "because"
        )  # fmt: skip
    same = rules_at(site).filter(
        adopter=actor.organisation_id, requirement__code=requirement.code,
        requirement__programme__code=requirement.programme.code,
    )  # fmt: skip
    for row in same:
        end_overdue(actor=actor, rule=row, at=at)
    made: OverdueRule = OverdueRule.objects.create(
        by=actor, site=site, requirement=requirement, adopter=actor.organisation, severity=severity,
        because=because.strip(), adopted_by=actor.person, starts_on=date_at(site.time_zone, at),
    )  # fmt: skip
    open_now(site=site, at=at)
    return made


@transaction.atomic
def end_overdue(*, actor: Actor, rule: OverdueRule, at: datetime) -> OverdueRule:
    """From now on; what it opened stays until a person ends it. By whoever said so; may run twice.

    Raises Forbidden."""
    require_sayer(actor, rule)
    if rule.ended_on is None:
        rule.ended_on = date_at(rule.site.time_zone, at)
        rule.save(by=actor, verb="ended")
    return rule
