"""Tables of values beside bottles that are filled: the steps of their tests.

The liquid is invented: index 1.37020 and density 1032 kg/m³ at 20 °C (tests/checks.py).
"""

from dataclasses import replace
from datetime import timedelta

from itm.accounts.actor import Actor
from itm.intake.models import Upload
from itm.records import checking
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue
from tests.checks import ON, at, begun, bottle, lot_of, sent
from tests.factories import TankFactory
from tests.itm.intake.imports import handed_in, taken

TOP, BOTTOM = "T-1 260615 top", "T-1 260615 bottom"
WIDE = (
    "bottle;refractive_index;density (g/mL);ph;temperature\n"
    f"{TOP};1.37020;1.0320;7.60;20.0\n{BOTTOM};1.3700;1.0319;;20.0\n"
)


def two_bottles(scene) -> ConcentrateCheck:
    """Top and bottom of the scene's tank, filled and not measured."""
    lot_of(scene)
    made = begun(scene)
    bottle(made, scene.contractor, label=TOP)
    bottle(made, scene.contractor, "bottom", label=BOTTOM)
    return made


def crew(scene) -> Actor:
    """When the laboratory has answered."""
    return replace(scene.contractor, at=at(ON + timedelta(days=30)))


def bring(scene, data: str | bytes = WIDE, **more) -> Upload:
    return taken(crew(scene), "values", data, **more)


def look(scene, data: str, **more) -> Upload:
    return handed_in(crew(scene), "values", data, **more)


def in_force(label: str = TOP) -> dict[str, SampleValue]:
    rows = SampleValue.objects.filter(sample__label=label, set_aside_at=None)
    return {row.name: row for row in rows}


PAPER = "laboratory;report number;report date;received"
ANSWER = "Invented institute;L-118;2026-07-06;2026-06-18"


def both(scene) -> tuple[ConcentrateSample, ConcentrateSample]:
    """A bottle of each of two tanks, both sent away."""
    lot_of(scene)
    other = TankFactory(site=scene.site, tag="T-2")
    there = checking.begin_check(
        actor=scene.contractor, tank=other, checked_on=ON, at=at(), purpose="periodic"
    )
    here = bottle(begun(scene), scene.contractor, label=TOP)
    far = bottle(there, scene.contractor, label="T-2 top")
    return sent(here, scene.contractor), sent(far, scene.contractor)


def answer_of(*lines: str) -> str:
    rows = [f"{line};{ANSWER}" for line in lines]
    return "\n".join([f"bottle;index;temperature;{PAPER}", *rows]) + "\n"
