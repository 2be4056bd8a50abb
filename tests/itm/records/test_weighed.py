"""A tank or drum on a scale as a record: percent, uncertainty, what is refused. Figures invented;
expected values are arithmetic beside them, uncertainties by JCGM 100:2008, 4.3.7 and 5.1.2."""

import math
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from scipy import constants

from itm.core.errors import Refused
from itm.records import chain, measuring
from itm.records.direct_remarks import density_remarks, direct_remarks
from itm.records.evaluate import preview
from itm.records.models import Bench, DirectSetup
from itm.records.models.density import DensityFrom
from itm.registry.contents import Contents
from itm.registry.models import ConcentrateLot
from itm.reports.content_direct import _weighing
from tests.direct_deeds import (
    direct_day,
    heavy,
    lightened,
    measured_test,
    ran,
    run_at,
    scale,
    weight,
)
from tests.itm.records.test_direct import WANTED, at, codes, point, with_direct


def test_a_weighed_tote_has_the_uncertainty_of_its_scale_and_its_density(scene):
    """Worked by hand. 3.4 % of 1900 L/min over 4 min are 258.4 L, of 1040 kg/m³ 268.736 kg. Step
    and error of the scale as rectangles (JCGM 100:2008, F.2.2.1 and 4.3.7), twice; density off by
    3 kg/m³ and flow by 2 %, as rectangles; half a second of 240. The typed digits are kept."""
    test = measured_test(scene, "weighed", WANTED)
    row = run_at(test)
    assert row.mass_before - row.mass_after == pytest.approx(268.736)
    one = math.hypot(0.5 / math.sqrt(12), 0.5 / math.sqrt(3)) / 268.736
    parts = [one, one, 3 / math.sqrt(3) / 1040, 0.5 / 240, 0.02 / math.sqrt(3)]
    assert point(test)["standard_uncertainty"] == pytest.approx(3.4 * math.hypot(*parts))
    form = chain.parsed(test.seal)["direct"]
    assert form["weighing"] == {
        "scale": "WT-3, certificate Q-9", "step": "0.5 kg", "error": "0.5 kg",
        "density": "1.04 g/mL", "density_error": "3 kg/m³",
        "density_from": "the certificate of the lot",
    }  # fmt: skip
    assert [run["mass_before"] for run in form["runs"]] == ["900 kg", "900 kg"]


def test_pounds_give_the_percent_of_kilograms(scene):
    """1 lb is 0.45359237 kg, and 231 in³ the US gallon, by definition (NIST SP 811, B.8): scipy
    says both."""
    day = scale(ran(direct_day(scene, "weighed")), density=heavy(8.7, "lb/US gal"))
    lightened(day, WANTED)
    measuring.note_measured(
        actor=day.actor, run=at(day), mass_before=weight(2000, "lb"),
        mass_after=weight(1400, "lb"),
    )  # fmt: skip
    found = {p["name"]: p["percent"] for p in preview(day.test).result["flow_points"]}
    volume_drawn = 600 * constants.pound / (8.7 * constants.pound / constants.gallon)
    wanted = 100 * volume_drawn / (240 * 1900e-3 / 60)
    assert found["design"] == pytest.approx(wanted, rel=1e-9)


def test_what_is_missing_of_a_weighed_test_is_told(scene):
    tote = direct_day(scene, "weighed")
    assert codes(tote.test) >= {
        "scale_missing", "scale_step_missing", "density_missing", "weight_missing",
        "duration_missing",
    }  # fmt: skip
    scale(tote, density_from="")
    assert "density_source_missing" in codes(tote.test)


def test_too_little_weight_says_how_much_longer_before_it_is_over(scene):
    """Ten steps: common practice, no published source. Nominal 3 % of 1900 L/min is 0.95 L/s, of
    1040 kg/m³ 0.988 kg/s: 50 kg of a scale of 5 kg take 50.6 s (arithmetic)."""
    day = scale(ran(direct_day(scene, "weighed")), scale_step=weight(5))
    measuring.note_measured(actor=day.actor, run=at(day), mass_before=weight(900))
    setup = DirectSetup.objects.get(test=day.test)
    setup.test = day.test
    (before,) = direct_remarks(setup, with_direct(day))
    assert "goes down by ten of its steps in about 51 seconds" in before
    lightened(day, WANTED, over="0:30")
    # 3.4 % of 1900 L/min in 30 s are 33.59 kg: 30 s × (50/33.59 - 1) (arithmetic).
    assert "run about 15 seconds longer" in " ".join(direct_remarks(setup, with_direct(day)))
    found = preview(day.test).result
    assert {w["code"] for w in found["warnings"]} == {"scale_moved_little"}
    assert {p["certainty"] for p in found["flow_points"]} == {"undecided"}


def test_density_is_held_against_the_certificates_of_what_stands_in_the_tank(scene):
    """A weight over a density of 1040 is 1040/1020 of that over 1020 kg/m³, 2.0 % more
    (arithmetic); within the 3 kg/m³ that it may be off there is nothing to say."""
    (lot,) = ConcentrateLot.objects.filter(movements__tank=scene.tank)
    lot.density = Decimal("1020.0")
    lot.save(by=scene.owner)
    test = measured_test(scene, "weighed", WANTED)
    (said,) = chain.parsed(test.seal)["direct"]["remarks"]
    assert "1.04 g/mL is 20.0 kg/m³ above" in said
    assert "2.0 % of itself higher" in said
    assert "more than the 3 kg/m³" in said
    lot.density = Decimal("1037.0")
    lot.save(by=scene.owner)
    again = measured_test(scene, "weighed", WANTED, on=date(2026, 7, 15))
    assert "remarks" not in chain.parsed(again.seal)["direct"]


def test_density_of_a_certificate_that_nobody_has_is_said_to_be_so(scene):
    test = measured_test(scene, "weighed", WANTED)
    (said,) = chain.parsed(test.seal)["direct"]["remarks"]
    assert "said to come from the certificate" in said


@pytest.mark.parametrize(
    ("entered", "code"),
    [
        ({"scale_step": weight(0)}, "weight"),
        ({"density_error": heavy(-1)}, "weight"),
        ({"density": heavy(1.04)}, "density"),  # g/mL that was written as kg/m³
        ({"density": heavy(1040, "g/mL")}, "density"),
    ],
)
def test_impossible_scale_is_refused_and_told_where(scene, entered, code):
    day = scale(direct_day(scene, "weighed"))
    with pytest.raises(Refused) as refused:
        measuring.note_setup(actor=day.actor, test=day.test, **entered)
    assert (refused.value.code, refused.value.place) == (code, next(iter(entered)))


@pytest.mark.parametrize(
    ("entered", "code"),
    [
        ({"mass_before": weight(900), "mass_after": weight(900)}, "weight_rose"),
        ({"mass_before": weight(-1)}, "not_positive"),
    ],
)
def test_impossible_weight_is_refused(scene, entered, code):
    day = scale(direct_day(scene, "weighed"))
    with pytest.raises(Refused) as refused:
        measuring.note_measured(actor=day.actor, run=at(day), **entered)
    assert refused.value.code == code


def test_the_database_itself_holds_a_scale_to_its_sense(scene):
    day = scale(direct_day(scene, "weighed"))
    row, setup = run_at(day.test), day.test.direct
    row.mass_before, row.mass_after = 1.0, 2.0
    setup.scale_step = -1.0
    for wrong in (row, setup):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong.save(by=day.actor)


def test_the_source_of_a_density_is_told_as_that_of_a_bench(scene):
    """The same choices and words, and the same remark on a data sheet."""
    ours, theirs = (row._meta.get_field("density_from").choices for row in (DirectSetup, Bench))
    assert ours == theirs
    test = measured_test(scene, "weighed", WANTED)
    (_, said) = _weighing(
        chain.parsed(test.seal)["direct"]["weighing"]
        | {"density_from": str(DensityFrom.DATA_SHEET.label)}
    )[1]
    assert said == "1.04 g/mL, either way by 3 kg/m³, from a data sheet of the product"
    setup = DirectSetup.objects.get(test=test)
    setup.density_from = DensityFrom.DATA_SHEET
    assert density_remarks(setup, Contents())[:1] == [
        "The density 1.04 g/mL is that of a data sheet and not of this lot."
    ]
