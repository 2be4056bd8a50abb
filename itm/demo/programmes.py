"""A programme adopted in the invented world, rounds of its people, and what happened."""

import uuid
from datetime import timedelta
from typing import Any

from itm.actions.adopt import adopt
from itm.actions.note_happening import note_happening
from itm.actions.record_inspection import record_inspection
from itm.actions.settle_rows import confirm
from itm.demo.registry import World
from itm.records.inspecting import Entry
from itm.records.inspection_queries import to_inspect
from itm.records.wants import YES
from itm.schedule.models import Duty, Programme, Requirement


def tell(world: World, told: dict[str, Any]) -> None:
    """In the order of the days, as it would have come about."""
    for one in told["adoptions"]:
        _adopt(world, one)
    deeds = [(one, _round) for one in told["rounds"]] + [(one, _event) for one in told["events"]]
    for one, deed in sorted(deeds, key=lambda pair: -pair[0]["days_ago"]):
        deed(world, one)


def _adopt(world: World, told: dict[str, Any]) -> None:
    site = world.sites[told["site"]]
    day = world.ages.day(told["days_ago"], site.time_zone)
    actor = world.actor(told["owner"], day)
    programme = Programme.objects.get(code=told["programme"])
    adoption, _ = adopt(actor=actor, programme=programme, starts_on=day, site=site)
    confirm(
        actor=actor, adoption=adoption, today=day, checked_against=told["checked_against"],
        requirements=list(Requirement.objects.filter(code__in=told["confirmed"])),
    )  # fmt: skip


def _round(world: World, told: dict[str, Any]) -> None:
    site = world.sites[told["site"]]
    day = world.ages.day(told["days_ago"], site.time_zone)
    actor = world.actor(told["owner"], day)
    duties = [
        duty
        for duty in to_inspect(actor, site, ahead=True)
        if duty.requirement.task == Requirement.Task.INSPECTION and duty.window_opens_on <= day
    ]
    record_inspection(
        actor=actor, site=site, done_on=day, note=told["note"], once=uuid.uuid4(),
        at=world.ages.now - timedelta(days=told["days_ago"], hours=-1),
        entries=[_entry(duty, told) for duty in duties],
    )  # fmt: skip


def _entry(duty: Duty, told: dict[str, Any]) -> Entry:
    code = duty.requirement.code
    if code in told["not_possible"]:
        return Entry(duty, reason=told["not_possible"][code])
    usual = {"yes_no": YES, "text": "as it should be"}
    entered = {
        want["key"]: told["figures"].get(want["key"], usual.get(want["kind"], ""))
        for want in duty.requirement.evidence
    }
    return Entry(duty, entered | told["faults"].get(str(duty.thing), {}))


def _event(world: World, told: dict[str, Any]) -> None:
    site = world.sites[told["site"]]
    day = world.ages.day(told["days_ago"], site.time_zone)
    note_happening(
        actor=world.actor(told["owner"], day), site=site, happened_on=day, today=day,
        system=site.systems.get(name=told["system"]), kind=told["kind"], words=told["words"],
    )  # fmt: skip
