"""A concentrate check through the real services, the way a crew and its laboratory would do it.

The liquids are invented: a lot of index 1.37020 and density 1032 kg/m³ at 20 °C, mixed with water
by volume as the published equations give it at 20 °C (calc.water).
"""

import io
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from calc.water import water_density, water_index
from itm.accounts.actor import Actor
from itm.actions.hand_in import hand_in
from itm.actions.sign import sign
from itm.intake.concentrate import judge_value
from itm.records import checking, sampling
from itm.records.models import ConcentrateCheck, ConcentrateSample, LaboratoryReport, SampleValue
from itm.registry.attaching import Upload
from itm.registry.models import ConcentrateLot

INDEX, DENSITY = Decimal("1.37020"), Decimal("1032.0")
WATER_INDEX, WATER_DENSITY = float(water_index(20.0)), float(water_density(20.0))
PDF = b"%PDF-1.4\n1 0 obj\n<< >>\nendobj\ntrailer\n<< >>\n%%EOF\n"
ON = date(2026, 6, 15)


def lot_of(scene: Any) -> ConcentrateLot:
    """The lot in the tank of the scene, with its certificate."""
    lot: ConcentrateLot = scene.tank.movements.get(kind="fill").lot
    lot.refractive_index, lot.density, lot.ph = INDEX, DENSITY, Decimal("7.6")
    lot.save(by=scene.owner)
    return lot


def mixed(share: float) -> dict[str, str]:
    """What is read of the lot thinned by water until this share of it is left."""
    index = WATER_INDEX + share * (float(INDEX) - WATER_INDEX)
    density = WATER_DENSITY + share * (float(DENSITY) - WATER_DENSITY)
    return {"refractive_index": f"{index:.5f}", "density": f"{density:.1f}"}


def at(on: date = ON, hour: int = 9) -> datetime:
    return datetime.combine(on, time(hour), UTC)


def begun(scene: Any, *, on: date = ON, by: Actor | None = None, **options: Any) -> Any:
    """A draft of the scene's tank."""
    return checking.begin_check(
        actor=by or scene.contractor, tank=scene.tank, checked_on=on, at=at(on),
        **{"purpose": "periodic", "programmes": ["european"], **options},
    )  # fmt: skip


def bottle(
    check: ConcentrateCheck, by: Actor, point: str = "top", **options: Any
) -> ConcentrateSample:
    given = {"label": sampling.proposed_label(check, point), "taken_at": at(check.checked_on, 10)}
    return sampling.add_sample(actor=by, check=check, point=point, **{**given, **options})


def measure(
    sample: ConcentrateSample, by: Actor, origin: str = "own", temperature: str = "20.0",
    **typed: str,
) -> list[SampleValue]:  # fmt: skip
    """Each property as typed, through the judgement that every door uses."""
    out = []
    for name, text in typed.items():
        number, _, unit = text.partition(" ")
        judged = judge_value(name, number, unit or _unit(name), temperature, place=name)
        assert judged.value is not None, judged.problems
        out.append(
            checking.add_value(
                actor=by, sample=sample, name=name, value=judged.value, value_typed=judged.typed,
                temperature_c=judged.temperature_c, temperature_typed=temperature, origin=origin,
                at=at(sample.concentrate_check.checked_on, 12),
            )
        )  # fmt: skip
    return out


def _unit(name: str) -> str:
    from itm.registry.properties import PROPERTIES

    return PROPERTIES[name].unit


def sent(sample: ConcentrateSample, by: Actor, **options: Any) -> ConcentrateSample:
    on = sample.concentrate_check.checked_on
    given = {"laboratory": "Laboratory of the invented institute", "sent_on": on}
    return sampling.change_sample(actor=by, sample=sample, at=at(on, 15), **{**given, **options})


def answered(
    samples: list[ConcentrateSample], by: Actor, number: str = "L-1", days: int = 21
) -> LaboratoryReport:
    check = samples[0].concentrate_check
    on = check.checked_on + timedelta(days=days)
    return sampling.attach_report(
        actor=by, check=check, upload=Upload(io.BytesIO(PDF), "report.pdf"), number=number,
        laboratory="Laboratory of the invented institute", reported_on=on, samples=samples,
        at=at(on),
    )  # fmt: skip


def checked(
    scene: Any, *, until: str = "sealed", on: date = ON, by: Actor | None = None,
    top: dict[str, str] | None = None, bottom: dict[str, str] | None = None, **options: Any,
) -> ConcentrateCheck:  # fmt: skip
    """A check of two bottles up to `until`: draft, handed_in or sealed; as delivered where nothing
    else is said."""
    actor = by or scene.contractor
    if scene.tank.movements.get(kind="fill").lot.refractive_index is None:
        lot_of(scene)
    check = begun(scene, on=on, by=actor, **options)
    for point, values in (("top", top), ("bottom", bottom)):
        measure(bottle(check, actor, point), actor, **(values or {**mixed(1.0), "ph": "7.6"}))
    if until != "draft":
        hand_in(actor=actor, key=check.key, at=at(on, 16))
    if until == "sealed":
        sealed(check, actor)
    return ConcentrateCheck.objects.get(pk=check.pk)


def sealed(check: ConcentrateCheck, by: Actor) -> None:
    sign(
        actor=by, key=check.key, at=at(check.checked_on, 18), name=by.person,
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip


def with_report(scene: Any) -> ConcentrateCheck:
    """Sealed, with one bottle that a laboratory answered for."""
    lot_of(scene)
    check = begun(scene)
    sample = sent(bottle(check, scene.contractor), scene.contractor)
    answered([sample], scene.contractor)
    measure(sample, scene.contractor, "laboratory", **mixed(1.0))
    hand_in(actor=scene.contractor, key=check.key, at=at(ON + timedelta(days=30)))
    sealed(check, scene.contractor)
    return ConcentrateCheck.objects.get(pk=check.pk)
