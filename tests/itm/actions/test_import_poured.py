"""A table of readings says what its standards were made of; judged and taken back as typed."""

import pytest

from itm.actions.undo_import import undo_import
from itm.records.bench import set_out
from itm.records.models import Bench, Bottle
from itm.records.pouring import set_masses, set_volumes
from itm.records.weighing import percent_as_made
from tests.deeds import discharged, prepared
from tests.itm.intake.imports import handed_in, taken, told

HEAD = "bottle;value;temperature;concentrate poured;water poured"
DENSE = f"{HEAD};density;density_at;density_error;density_from"


@pytest.fixture
def day(scene):
    made = discharged(prepared(scene))
    set_out(actor=made.actor, test=made.test)
    return made


def bench_of(day) -> Bench:
    return Bench.objects.get(pk=day.test.bench.pk)


def bottle(day, label: str) -> Bottle:
    return day.test.bench.bottles.get(label=label)


def table(*rows: str, head: str = HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


def test_volumes_come_in_as_typed_with_the_readings(day):
    text = table(
        "water;1.33300;20;;", "S1;1.33390;20;4.00 mL;196.0 mL", "S1;1.33391;20;;",
        "S2;1.33420;20;6.00 mL;194.0 mL",
    )  # fmt: skip
    row = taken(day.actor, "readings", text, test=day.test)
    first = bottle(day, "S1")
    assert (first.concentrate_ml_typed, first.water_ml_typed) == ("4.00", "196.0")
    # 4 mL in 200 mL of both, by definition of a percent by volume.
    assert percent_as_made(first, bench_of(day)) == pytest.approx(2.0, rel=1e-12)
    assert len(row.made) == 4
    assert set(row.filled) == {str(first.key), str(bottle(day, "S2").key)}


def test_grams_come_in_with_the_density_and_say_how_standards_are_made(day):
    text = table(
        "S1;1.33390;20;4,19 g;195,6 g;1,048 g/mL;20;5 kg/m³;data sheet", head=DENSE
    ).replace("1.33390", "1,33390")  # fmt: skip
    taken(day.actor, "readings", text, test=day.test)
    bench = bench_of(day)
    assert (bench.standards_by, bench.density_from) == ("mass", "data_sheet")
    assert bench.density == pytest.approx(1048)
    assert (bench.density_at_typed, bench.density_error_typed) == ("20 °C", "5 kg/m³")
    assert bottle(day, "S1").concentrate_g_typed == "4,19"


@pytest.mark.parametrize(
    ("rows", "place", "code"),
    [
        (["water;1.33300;20;1 mL;199 mL"], "D2", "not_a_standard"),
        (["S1;1.33390;20;4.00 mL;"], "E2", "missing_amount"),
        (["S1;1.33390;20;4.00 mL;196.0 g"], "E2", "mixed_basis"),
        (["S1;1.33390;20;0 mL;0 mL"], "D2", "nothing_mixed"),
        (["S1;1.33390;20;-4 mL;196 mL"], "D2", "out_of_range"),
        (["S1;1.33390;20;4.00001 mL;196 mL"], "D2", "too_fine"),
        (["S1;1.33390;20;4 mL;196 mL", "S1;1.33391;20;5 mL;196 mL"], "D3", "other_amount"),
        (["S1;1.33390;20;4 L;196 L"], "D2", "other_unit"),
    ],
)
def test_what_is_wrong_is_told_at_its_cell_and_nothing_stays(day, rows, place, code):
    row = handed_in(day.actor, "readings", table(*rows), test=day.test)
    assert row.state == "open"
    assert (place, code) in told(row)
    assert bottle(day, "S1").concentrate_ml is None


@pytest.mark.parametrize(
    ("cells", "place", "code"),
    [
        ("10.48 g/mL;20;;", "F2", "density"),
        ("1.048 g/mL;70;;", "G2", "density_at"),
        ("1.048 g/mL;20;900 kg/m³;", "H2", "density_error"),
        ("1.048 g/mL;20;;a friend", "I2", "not_a_choice"),
    ],
)
def test_a_density_that_is_none_is_told_at_its_cell(day, cells, place, code):
    text = table(f"S1;1.33390;20;4.19 g;195.6 g;{cells}", head=DENSE)
    row = handed_in(day.actor, "readings", text, test=day.test)
    assert (place, code) in told(row)
    assert bench_of(day).density is None


def test_amounts_without_a_unit_are_asked_about_once(day):
    row = handed_in(day.actor, "readings", table("S1;1.33390;20;4.00;196.0"), test=day.test)
    assert row.state == "open"
    assert told(row) == []
    asked = [one for one in row.findings["questions"] if not one["found"]]
    assert [[value for value, _ in one["choices"]] for one in asked] == [["mL", "g"]] * 2


def test_two_densities_of_one_bench_are_told(day):
    rows = [f"S{n};1.333{n}0;20;4 g;196 g;{d} g/mL;20;;" for n, d in ((1, "1.048"), (2, "1.05"))]
    row = handed_in(day.actor, "readings", table(*rows, head=DENSE), test=day.test)
    assert told(row) == [("F3", "other_density")]


def test_what_stands_on_the_bench_already_is_never_replaced(day):
    set_volumes(actor=day.actor, bottle=bottle(day, "S1"), concentrate_ml_typed="5",
                water_ml_typed="195")  # fmt: skip
    row = handed_in(day.actor, "readings", table("S1;1.33390;20;4 mL;196 mL"), test=day.test)
    assert told(row) == [("D2", "there_already")]
    same = table("S1;1.33390;20;5 mL;195 mL")
    row = taken(day.actor, "readings", same, test=day.test, name="same.csv")
    assert row.filled == {}  # nothing was filled, so taking it back empties nothing
    grams = handed_in(day.actor, "readings", table("S1;1.33392;20;5 g;195 g"), test=day.test,
                      name="grams.csv")  # fmt: skip
    assert ("D2", "mixed_basis") in told(grams)


def test_taken_back_it_empties_what_it_filled_and_nobody_changed_since(day):
    text = table(
        "S1;1.33390;20;4 g;196 g;1.048 g/mL;20;;", "S2;1.33420;20;6 g;194 g;;;;", head=DENSE
    )
    row = taken(day.actor, "readings", text, test=day.test)
    second = bottle(day, "S2")
    set_masses(actor=day.actor, bottle=second, concentrate_g_typed="7", water_g_typed="193")
    undo_import(actor=day.actor, key=row.key, because="another bench", at=day.tick())
    bench = bench_of(day)
    assert (bench.density_typed, bench.standards_by) == ("", "")
    assert bottle(day, "S1").concentrate_g_typed == ""
    assert bottle(day, "S2").concentrate_g_typed == "7"


def test_heads_of_bottles_stay_bottles(day):
    """“water” and “concentrate” as heads are bottles with a column each, and no amounts."""
    text = "name;water;S1;concentrate\n1;1.33300;1.33390;1.37020\n"
    row = taken(day.actor, "readings", text, test=day.test)
    assert len(row.made) == 3
    assert row.filled == {}
