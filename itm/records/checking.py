"""Writes of a concentrate check while it is a draft: its bottles and what was measured of them.

A value is never edited: a suspect one is set aside with its reason, and another stands beside it.
"""

import uuid
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.figures import day
from itm.records import merge
from itm.records.drafts import over, sent_later, worked_late
from itm.records.frozen_check import basis_of, criteria_of, programmes
from itm.records.merge import Crossed
from itm.records.models import ConcentrateCheck, ConcentrateSample, Move, SampleValue
from itm.registry.access import require_work, worked_at, works_at
from itm.registry.models import Site, Tank

State = ConcentrateCheck.State
# Standard uncertainty of a reading beside a certificate, own choice: it covers the instrument, the
# certificate and a degree of temperature. What is known better is typed.
U_INDEX, U_DENSITY = Decimal("0.0003"), Decimal("1.0")
FROZEN = ("checked_on", "programmes", "u_refractive_index", "u_density")
LOOSEST = {"u_refractive_index": Decimal("0.01"), "u_density": Decimal(20)}


def require_checker(actor: Actor, site: Site, stamped: datetime | None = None) -> None:
    """`stamped`: the moment of a device, which may hand over late what was begun on a day of the
    engagement. Raises Forbidden."""
    if stamped is not None and worked_late(actor, site, stamped):
        return
    require_work(actor, site, "check the concentrate")


@transaction.atomic
def begin_check(
    *, actor: Actor, tank: Tank, checked_on: date, purpose: str, at: datetime,
    programmes: Sequence[str] = (), circulated: bool = False, notes: str = "",
    u_refractive_index: Decimal = U_INDEX, u_density: Decimal = U_DENSITY,
    key: uuid.UUID | None = None, stamped: datetime | None = None,
) -> ConcentrateCheck:  # fmt: skip
    """A draft with everything frozen that it will be held against. May run twice by its `key`.

    With `stamped` it may have been begun while engaged and come in late, as `require_checker` says.

    Raises Forbidden; Refused tank_retired, day_ahead, before_installed, unknown_programme,
    uncertainty.
    """
    require_checker(actor, tank.site, stamped)
    if key is not None:
        mine = ConcentrateCheck.objects.filter(key=key, organisation=actor.organisation_id)
        if (there := mine.first()) is not None:
            return there
    _require_day(tank, checked_on, at)
    late = sent_later(actor, tank.site)
    if late and not worked_at(actor, tank.site, checked_on, checked_on):
        raise Refused(
            "not_engaged_then",
            f"Your organisation was not engaged at {tank.site} on {day(checked_on)}: only what was "
            "sampled while it was comes in late.",
            "checked_on",
        )
    row: ConcentrateCheck = ConcentrateCheck.objects.create(
        by=actor, site=tank.site, tank=tank, organisation=actor.organisation,
        purpose=purpose, checked_on=checked_on, circulated=circulated, notes=notes.strip(),
        basis=basis_of(tank, checked_on), criteria=_criteria(tank, checked_on, programmes),
        **_uncertainties(u_refractive_index, u_density), **({"key": key} if key else {}),
    )  # fmt: skip
    Move.objects.create(
        by=actor, concentrate_check=row, verb="prepare", at=at, person=actor.person,
        organisation=actor.organisation_name, reason=late,
    )  # fmt: skip
    return row


def _require_day(tank: Tank, on: date, at: datetime) -> None:
    today = date_at(tank.site.time_zone, at)
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "checked_on")
    if tank.retired_on is not None and tank.retired_on <= on:
        raise Refused(
            "tank_retired", f"Tank {tank} is retired since {day(tank.retired_on)}.", "checked_on"
        )
    if tank.installed_on is not None and on < tank.installed_on:
        raise Refused(
            "before_installed",
            f"Tank {tank} was installed on {day(tank.installed_on)}; nothing stood in it before.",
            "checked_on",
        )


def _criteria(tank: Tank, on: date, codes: Sequence[str]) -> list[dict[str, Any]]:
    known = {code for code, _ in programmes()}
    for code in codes:
        if code not in known:
            raise Refused("unknown_programme", f"There are no limits called {code}.", "programmes")
    return criteria_of(tank, on, codes)


def _uncertainties(index: Decimal, density: Decimal) -> dict[str, Decimal]:
    given = {"u_refractive_index": index, "u_density": density}
    for name, value in given.items():
        if not 0 < value <= LOOSEST[name]:
            raise Refused(
                "uncertainty",
                f"A standard uncertainty of {value:f} says nothing here: it is above 0 and at "
                f"most {LOOSEST[name]:f}.",
                name,
            )
    return given


def locked_check(actor: Actor, check: ConcentrateCheck) -> ConcentrateCheck:
    """Raises Forbidden, Refused not_draft."""
    if actor.organisation_id is None or check.organisation_id != actor.organisation_id:
        raise Forbidden("Only the organisation that made this check can write in it.")
    now = ConcentrateCheck.objects.select_for_update().get(pk=check.pk)
    if now.state != State.DRAFT:
        raise Refused(
            "not_draft",
            f"This check is {now.get_state_display()} and takes no more entries; a supervisor can "
            "send back one that is handed in; a sealed one is corrected by a new record.",
        )
    return now


@transaction.atomic
def change_check(
    *, actor: Actor, check: ConcentrateCheck, at: datetime,
    opened: Mapping[str, str] | None = None, **entered: Any,
) -> ConcentrateCheck:  # fmt: skip
    """Purpose, circulated and notes at any time; what it is held against only before the first
    value, and then everything is frozen anew.

    Raises Forbidden; Refused not_draft, values_there and what `begin_check` refuses; Conflict.
    """
    row = locked_check(actor, check)
    frozen = {name: entered.pop(name) for name in FROZEN if name in entered}
    if frozen := merge.changed(row, frozen, opened):
        _freeze_anew(actor, row, frozen, at)
    merge.put(row, entered, opened)
    row.save(by=actor)
    return row


def _freeze_anew(
    actor: Actor, row: ConcentrateCheck, given: Mapping[str, Any], at: datetime
) -> None:
    on = given.get("checked_on", row.checked_on)
    codes = list(given.get("programmes", row.programmes))
    uncertain = _uncertainties(
        given.get("u_refractive_index", row.u_refractive_index),
        given.get("u_density", row.u_density),
    )
    same = on == row.checked_on and codes == row.programmes and all(
        getattr(row, name) == value for name, value in uncertain.items()
    )  # fmt: skip
    if same:
        return
    if SampleValue.objects.filter(sample__concentrate_check=row).exists():
        raise Refused(
            "values_there",
            "Values are entered already, and what they are held against was fixed before them: "
            "abandon this check and begin another to hold it against something else.",
            "checked_on",
        )
    _require_day(row.tank, on, at)
    if not (works_at(actor, row.site) or worked_at(actor, row.site, on, on)):
        raise Forbidden(over(row.site))
    samples = row.samples.in_use()
    if on != row.checked_on and samples.exists():
        raise Refused(
            "samples_there",
            f"Bottles of {day(row.checked_on)} are noted already: withdraw them first, or begin "
            "another check.",
            "checked_on",
        )
    row.checked_on, row.basis = on, basis_of(row.tank, on)
    row.criteria = _criteria(row.tank, on, codes)
    for name, value in uncertain.items():
        setattr(row, name, value)


@transaction.atomic
def add_value(
    *, actor: Actor, sample: ConcentrateSample, name: str, value: Decimal, value_typed: str,
    origin: str, at: datetime, temperature_c: Decimal | None = None, temperature_typed: str = "",
    method: str = "", measured_on: date | None = None, key: uuid.UUID | None = None,
) -> SampleValue:  # fmt: skip
    """One property as measured. May run twice by its `key`. Raises Forbidden; Conflict value_there;
    Refused not_draft, withdrawn, measured_before, day_ahead."""
    locked_check(actor, sample.concentrate_check)
    if key is not None:
        there = SampleValue.objects.filter(key=key, sample=sample).first()
        if there is not None:
            return there
    require_in_use(sample)
    zone = sample.concentrate_check.site.time_zone
    require_measured_on(sample, measured_on, date_at(zone, at))
    require_free(sample.values.filter(name=name, set_aside_at=None).first())
    values: dict[str, Any] = {
        "name": name, "value": value, "value_typed": value_typed, "origin": origin,
        "temperature_c": temperature_c, "temperature_typed": temperature_typed.strip(),
        "method": method.strip(), "measured_on": measured_on,
        "entered_at": at, "entered_by": actor.person, **({"key": key} if key else {}),
    }  # fmt: skip
    try:
        with transaction.atomic():
            made: SampleValue = SampleValue.objects.create(by=actor, sample=sample, **values)
    except IntegrityError as error:
        raise Conflict("Somebody entered this property of this bottle a moment ago.") from error
    return made


def require_in_use(sample: ConcentrateSample) -> None:
    """Raises Refused withdrawn."""
    if sample.withdrawn_reason:
        raise Refused("withdrawn", f"{sample.label} is withdrawn: {sample.withdrawn_reason}")


def require_measured_on(sample: ConcentrateSample, on: date | None, today: date) -> None:
    """Neither before the bottle was filled nor ahead. Refused measured_before, day_ahead."""
    if on is None:
        return
    taken_on = sample.concentrate_check.checked_on
    if on < taken_on:
        raise Refused(
            "measured_before", f"{sample.label} was only taken on {day(taken_on)}.", "measured_on"
        )
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "measured_on")


def require_free(held: SampleValue | None) -> None:
    """Of a property one value counts. Raises Conflict."""
    if held is not None:
        raise Conflict(taken_by(held))


def taken_by(held: SampleValue) -> str:
    return (
        f"{held.entered_by} entered {held.value_typed} here already; set that one aside with its "
        "reason to put another in its place."
    )


@transaction.atomic
def set_aside_value(
    *, actor: Actor, value: SampleValue, reason: str, at: datetime,
    seen: Mapping[str, str] | None = None,
) -> SampleValue:  # fmt: skip
    """It stays, with its reason, and counts no more. May run twice.

    `seen` holds another reason that the person saw and replaces. Raises Forbidden; Crossed; Refused
    not_draft, reason_missing.
    """
    locked_check(actor, value.sample.concentrate_check)
    if not reason.strip():
        raise Refused("reason_missing", "Say why this value does not count.", "reason")
    row = SampleValue.objects.select_for_update().get(pk=value.pk)
    if row.set_aside_reason != reason.strip():
        merge.say(row, "set_aside_reason", reason.strip(), seen)
        row.set_aside_at, row.set_aside_by = at, actor.person
        row.save(by=actor, verb="set aside")
    return row


@transaction.atomic
def replace_value(
    *, actor: Actor, sample: ConcentrateSample, name: str, seen: Mapping[str, str], at: datetime,
    by: SampleValue | None = None,
) -> None:  # fmt: skip
    """Make room where a value stands, once the person has `seen` which: it is set aside, said why.
    `by` is the one that comes back in its place.

    Raises Crossed where something else stands there; what `set_aside_value` raises.
    """
    held = sample.values.filter(name=name, set_aside_at=None).first()
    if held is None or held == by:
        return
    now = {"value": held.value_typed, "temperature": held.temperature_typed}
    if any(seen.get(part, "") != text for part, text in now.items()):
        raise Crossed({"value": taken_by(held)}, now)
    set_aside_value(
        actor=actor, value=held, reason=f"{actor.person} put another in its place.", at=at
    )


@transaction.atomic
def bring_back_value(
    *, actor: Actor, value: SampleValue, seen: Mapping[str, str] | None = None
) -> SampleValue:
    """Undo of `set_aside_value`, of the reason that was `seen`.

    Raises Forbidden; Refused not_draft; Crossed; Conflict value_there.
    """
    locked_check(actor, value.sample.concentrate_check)
    row = SampleValue.objects.select_for_update().get(pk=value.pk)
    if row.set_aside_at is None:
        return row
    merge.require_seen(row, seen, "set_aside_reason")
    if SampleValue.objects.filter(sample=row.sample_id, name=row.name, set_aside_at=None).exists():
        raise Conflict("Another value stands in its place now; set that one aside first.")
    row.set_aside_reason, row.set_aside_at, row.set_aside_by = "", None, ""
    row.save(by=actor, verb="brought back")
    return row
