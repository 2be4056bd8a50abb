"""What people of the invented world did about what is wrong; most of it opened by itself."""

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.actions.note_deficiency import note_deficiency
from itm.demo.registry import World
from itm.findings import asking, clocks, deciding, impairing, overdue, visiting
from itm.findings.models import Deficiency, NoticeClock
from itm.records.models import ConcentrateCheck, ProportioningTest, Record
from itm.registry.models import Proportioner
from itm.retention import setting as keeping
from itm.schedule.models import Requirement


def tell(world: World, told: dict[str, Any]) -> None:
    for one in told["clocks"]:
        _adopt(world, one)
    for one in told["keeping"]:
        _keep(world, one)
    for one in told["by_hand"]:
        _by_hand(world, one)
    for one in told["impairments"]:
        _out(world, one)
    for one in told["overdue"]:
        _say_overdue(world, one)
    for one in told["assigned"]:
        _assign(world, one)
    for one in told["authority_visits"]:
        _visit(world, one)
    for one in told["orders"]:
        _order(world, one)
    for one in told["questions"]:
        _ask(world, one)


def _noon(world: World, told: dict[str, Any]) -> datetime:
    return world.ages.now - timedelta(days=told["days_ago"], hours=-1)


def _adopt(world: World, told: dict[str, Any]) -> None:
    at = _noon(world, told)
    clocks.adopt_clock(
        actor=world.actor(told["owner"], at.date()), sites=[world.sites[told["site"]]], at=at,
        clock=NoticeClock.objects.get(code=told["clock"]),
        checked_against=told["checked_against"],
    )  # fmt: skip


def _keep(world: World, told: dict[str, Any]) -> None:
    at = _noon(world, told)
    for code in told["rules"]:
        keeping.adopt(
            actor=world.actor(told["owner"], at.date()), sites=[world.sites[told["site"]]], at=at,
            rule=keeping.rule(code), checked_against=told.get("checked_against", ""),
        )  # fmt: skip


def _say_overdue(world: World, told: dict[str, Any]) -> None:
    at = _noon(world, told)
    row = Requirement.objects.get(programme__code=told["programme"], code=told["row"])
    overdue.say_overdue(
        actor=world.actor(told["owner"], at.date()), site=world.sites[told["site"]], at=at,
        requirement=row, severity=told["class"], because=told["because"],
    )  # fmt: skip


def _by_hand(world: World, told: dict[str, Any]) -> None:
    site, at = world.sites[told["site"]], _noon(world, told)
    day = world.ages.day(told["days_ago"], site.time_zone)
    actor = world.actor(told["owner"], at.date())
    row = note_deficiency(
        actor=actor, site=site, thing=site.systems.get(name=told["system"]), at=at,
        severity=told["class"], words=told["words"], found_on=day,
    )  # fmt: skip
    target = world.ages.day(-told["target_in_days"], site.time_zone)
    deciding.assign(
        actor=actor, deficiency=row, responsible=told["responsible"], assigned=None,
        target_on=target, at=at + timedelta(hours=1),
    )  # fmt: skip
    if mended := told.get("repaired"):
        later = at + timedelta(days=mended["after_days"])
        deciding.note_repair(
            actor=actor, deficiency=row, part=mended["part"], who=mended["who"],
            repaired_at=later, at=later,
        )  # fmt: skip


def _out(world: World, told: dict[str, Any]) -> None:
    """With its rounds and who was told, to its end; signed for by somebody with a qualification."""
    site, began = world.sites[told["site"]], _noon(world, told)
    actor = world.actor(told["owner"], began.date())
    if actor.user is not None:
        actor.user.qualification = actor.user.qualification or "Plant engineer"
        actor.user.save(by=actor)
    row = impairing.open_by_hand(
        actor=actor, site=site, started_at=began, at=began,
        systems=list(site.systems.filter(name__in=told["systems"])),
        **{name: told[name] for name in ("reason", "coordinator", "water", "stands_in")},
        expected_end_at=began + timedelta(hours=told["hours"]),
    )  # fmt: skip
    for one in told["told"]:
        at = began + timedelta(hours=one["after_hours"])
        impairing.tell(
            actor=actor, impairment=row, who=one["who"], how=one["how"],
            reference=one["reference"], told_at=at, at=at,
        )  # fmt: skip
    for one in told["arranged"]:
        at = began + timedelta(hours=one["after_hours"])
        impairing.arrange(
            actor=actor, impairment=row, what=one["what"], who=one["who"], words=one["words"],
            since=at, at=at, clock=NoticeClock.objects.get(code=one["clock"]),
        )  # fmt: skip
    for hours in told["rounds"]:
        at = began + timedelta(hours=hours)
        impairing.walk_round(actor=actor, impairment=row, who=told["watch"], walked_at=at, at=at)
    ended = began + timedelta(hours=told["hours"])
    impairing.end_by_hand(
        actor=actor, impairment=row, words=told["ended"], ended_at=ended, at=ended
    )


def _visit(world: World, told: dict[str, Any]) -> None:
    site, at = world.sites[told["site"]], _noon(world, told)
    visiting.note_visit(
        actor=world.actor(told["authority"], at.date()), site=site, at=at,
        visited_on=world.ages.day(told["days_ago"], site.time_zone), present=told["present"],
        looked_at=told["looked_at"],
    )  # fmt: skip


def _order(world: World, told: dict[str, Any]) -> None:
    site, at = world.sites[told["site"]], _noon(world, told)
    asking.order(
        actor=world.actor(told["authority"], at.date()), site=site, words=told["words"], at=at,
        due_on=world.ages.day(-told["due_in_days"], site.time_zone),
        deficiency=Deficiency.objects.get(site=site, words=told["of"]),
        authority_visit=site.authority_visits.get() if told.get("from_a_visit") else None,
    )  # fmt: skip


def _open_at(world: World, told: dict[str, Any], *tags: str) -> QuerySet[Deficiency]:
    """What opened by itself at these things of the site, and nobody has closed."""
    named = Q(proportioner__tag__in=tags) | Q(tank__tag__in=tags) | Q(equipment__tag__in=tags)
    return Deficiency.objects.filter(named, site=world.sites[told["site"]], closed_at=None)


def _assign(world: World, told: dict[str, Any]) -> None:
    site, at = world.sites[told["site"]], _noon(world, told)
    contractor = world.organisations[told["contractor"]] if "contractor" in told else None
    for row in _open_at(world, told, *told["things"]):
        deciding.assign(
            actor=world.actor(told["owner"], at.date()), deficiency=row, at=at,
            responsible=told["responsible"], assigned=contractor,
            target_on=world.ages.day(-told["target_in_days"], site.time_zone),
        )  # fmt: skip


def close_fixed(*, actor: Actor, proportioner: Proportioner, at: datetime) -> None:
    """Against the record by which each was found right: right away, as an office would."""
    for row in Deficiency.objects.filter(proportioner=proportioner, closed_at=None):
        shown = next((one.step for one in deciding.against(row) if one.ready), None)
        if shown is not None:
            deciding.close(actor=actor, deficiency=row, step=shown, at=at)


def _ask(world: World, told: dict[str, Any]) -> None:
    """On the latest sealed record of a device or a tank; answered or not, settled or not."""
    at = _noon(world, told)
    inspector = world.actor(told["authority"], at.date())
    asked = asking.ask(
        actor=inspector, record=_latest_sealed(world, told), words=told["words"], at=at
    )  # fmt: skip
    if "answer" not in told:
        return
    said = told["answer"]
    then = _noon(world, said)
    asking.answer(
        actor=world.actor(said["by"], then.date()), question=asked, words=said["words"], at=then
    )  # fmt: skip
    if "settles" in said:
        asking.close_question(actor=inspector, question=asked, at=then + timedelta(hours=3))


def _latest_sealed(world: World, told: dict[str, Any]) -> Record:
    site = world.sites[told["site"]]
    if "test_of" in told:
        tests = ProportioningTest.objects.filter(site=site, proportioner__tag=told["test_of"])
        return tests.filter(state=ProportioningTest.State.SEALED).latest("tested_on", "pk")
    checks = ConcentrateCheck.objects.filter(site=site, tank__tag=told["check_of"])
    return checks.filter(state=ConcentrateCheck.State.SEALED).latest("checked_on", "pk")
