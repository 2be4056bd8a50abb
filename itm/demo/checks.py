"""Concentrate checks of the invented world; its laboratory answers, or has not yet."""

import io
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction

from calc.water import water_density, water_index
from itm.accounts.actor import Actor
from itm.actions.hand_in import hand_in
from itm.actions.sign import sign
from itm.core.clock import date_at
from itm.demo.registry import World, contractor_at
from itm.demo.scenario import Ages
from itm.intake.concentrate import judge_value
from itm.records import checking, sampling
from itm.records.models import ConcentrateCheck, ConcentrateSample
from itm.registry.attaching import Upload
from itm.registry.certifying import Range, set_ranges
from itm.registry.properties import PROPERTIES

ANSWERS_AFTER = 12  # days in the laboratory
STEPS = {"refractive_index": "0.0001", "density": "0.1"}


@dataclass(frozen=True)
class PlannedCheck:
    """One check of the story, on its day."""

    told: dict[str, Any]
    laboratory: str
    begins_at: datetime

    @property
    def closes_at(self) -> datetime:
        """The morning of the day on which it is handed in: seals of a site follow each other."""
        away = any(one.get("laboratory") for one in self.told["bottles"])
        waits = away and self.told.get("until") != "sent"
        return self.begins_at + timedelta(days=ANSWERS_AFTER if waits else 0, hours=-3)

    @property
    def site(self) -> str:
        return str(self.told["site"])

    @property
    def tag(self) -> str:
        return str(self.told["tank"])


def checks_of_work(told: dict[str, Any], ages: Ages) -> list[PlannedCheck]:
    """At eleven on each day, so that a test of the same morning is sealed before it or after."""
    zones = {site["name"]: site["time_zone"] for o in told["owners"] for site in o["sites"]}
    out = []
    for one in told["checks"]["checks"]:
        zone = zones[one["site"]]
        morning = ages.morning(ages.working_day(one["days_ago"], zone), zone)
        out.append(PlannedCheck(one, told["checks"]["laboratory"], morning + timedelta(hours=2.5)))
    return out


def certificates(world: World, told: dict[str, Any]) -> None:
    """The ranges that makers give for some of the lots."""
    for one in told["ranges"]:
        lot = world.lots[one["batch"]]
        ranges = {
            name: _range(name, *ends, condition=one["condition"])
            for name, ends in one["ranges"].items()
        }
        actor = world.actor(lot.owner.name, world.ages.day(0))
        set_ranges(actor=actor, lot=lot, ranges=ranges)


def _range(name: str, lowest: str, highest: str, unit: str, *, condition: str) -> Range:
    ends: dict[str, Any] = {}
    for end, number in (("lowest", lowest), ("highest", highest)):
        if number:
            judged = judge_value(name, number, unit, "", place=name)
            ends |= {end: judged.value, f"{end}_typed": judged.typed}
    return Range(**ends, condition=condition)


def play(world: World, planned: PlannedCheck) -> None:
    """Begun, bottled, measured or sent, and closed as far as the story goes."""
    site = world.sites[planned.site]
    on = date_at(site.time_zone, planned.begins_at)
    contractor = contractor_at(world, site, on)
    crew, now = world.actor(contractor, on, role="member"), planned.begins_at
    until = planned.told.get("until", "sealed")
    with transaction.atomic():
        check = checking.begin_check(
            actor=crew, tank=world.tanks[planned.site, planned.tag], checked_on=on, at=now,
            purpose="periodic", programmes=planned.told["programmes"],
            notes=planned.told.get("notes", ""),
        )  # fmt: skip
        bottles = [_bottle(crew, check, one, now) for one in planned.told["bottles"]]
        now = _answers(world, planned, crew, check, bottles, until)
    if until == "sent":
        return
    hand_in(actor=crew, key=check.key, at=now)
    if until != "sealed":
        return
    office = world.actor(contractor, on)
    if office.user is None:
        raise LookupError("A signature needs a person.")
    sign(
        actor=office, key=check.key, at=now + timedelta(hours=18), name=office.person,
        qualification=office.user.qualification, number=office.user.licence_number,
    )  # fmt: skip


def _bottle(
    crew: Actor, check: ConcentrateCheck, told: dict[str, Any], now: datetime
) -> ConcentrateSample:
    return sampling.add_sample(
        actor=crew, check=check, label=sampling.proposed_label(check, told["point"]),
        point=told["point"], taken_at=now + timedelta(minutes=10), look=told.get("look", ""),
    )  # fmt: skip


def _answers(
    world: World, planned: PlannedCheck, crew: Actor, check: ConcentrateCheck,
    bottles: list[ConcentrateSample], until: str,
) -> datetime:  # fmt: skip
    """Measured on the spot, or by the laboratory some days later. Returns the hour it is then."""
    now, away = planned.begins_at + timedelta(hours=2), []
    for sample, told in zip(bottles, planned.told["bottles"], strict=True):
        if not told.get("laboratory"):
            _measure(crew, check, sample, told, "own", now)
            continue
        away.append((sample, told))
        sampling.change_sample(
            actor=crew, sample=sample, at=now, laboratory=planned.laboratory,
            sent_on=check.checked_on,
        )  # fmt: skip
    if not away or until == "sent":
        return now
    now += timedelta(days=ANSWERS_AFTER)
    sampling.attach_report(
        actor=crew, check=check, laboratory=planned.laboratory, number=f"K {check.checked_on:%y%j}",
        upload=Upload(io.BytesIO(paper(check)), "report.pdf"), at=now,
        reported_on=check.checked_on + timedelta(days=ANSWERS_AFTER - 1),
        samples=[sample for sample, _ in away],
    )  # fmt: skip
    for sample, told in away:
        _measure(crew, check, sample, told, "laboratory", now)
    return now


def _measure(
    crew: Actor, check: ConcentrateCheck, sample: ConcentrateSample, told: dict[str, Any],
    origin: str, at: datetime,
) -> None:  # fmt: skip
    typed = _mixed(check, told["share_left"]) | told["values"]
    for name, text in typed.items():
        number, _, unit = text.partition(" ")
        warmth = "20.0" if PROPERTIES[name].mixes else ""
        judged = judge_value(name, number, unit, warmth, place=name)
        if judged.value is None:
            raise ValueError(f"The scenario gives no {name}: {text}")
        checking.add_value(
            actor=crew, sample=sample, name=name, value=judged.value, value_typed=judged.typed,
            temperature_c=judged.temperature_c, temperature_typed=warmth, origin=origin, at=at,
        )  # fmt: skip


def _mixed(check: ConcentrateCheck, share: float) -> dict[str, str]:
    """Index and density of what the tank holds by its book, thinned by water."""
    water = {"refractive_index": float(water_index(20.0)), "density": float(water_density(20.0))}
    out = {}
    for name, step in STEPS.items():
        lots = check.basis["lots"]
        total = sum(float(lot["volume_l"]) for lot in lots)
        whole = sum(float(lot[name]) * float(lot["volume_l"]) for lot in lots) / total
        value = Decimal(repr(water[name] + share * (whole - water[name])))
        unit = PROPERTIES[name].unit
        out[name] = f"{value.quantize(Decimal(step))} {unit}".strip()
    return out


def paper(check: ConcentrateCheck) -> bytes:
    """A page that says what it is: PDF 1.4 by hand, with its table of offsets."""
    words = f"Invented laboratory report on bottles of {check.checked_on}. No such laboratory."
    stream = f"BT /F1 12 Tf 60 760 Td ({words}) Tj ET".encode("latin-1")
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        b"/Resources << /Font << /F1 5 0 R >> >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    out, offsets = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, start=1):
        offsets.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    head = b"xref\n0 %d\n0000000000 65535 f \n%s" % (len(objects) + 1, table)
    tail = b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n"
    return out + head + tail % (len(objects) + 1, len(out))
