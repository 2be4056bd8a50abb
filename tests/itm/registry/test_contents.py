"""What a tank holds, against arithmetic done by hand; rows that never see a database.

Checks of the mixture: by hand, as the comment beside each says, and against the engine's own
`mixture_baseline`, whose ground is mixing by volume and mass balance. The order of what is refused
is common practice, no published source.
"""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.concentrate import mixture_baseline
from itm.registry.contents import Contents, amount, contents, ledger, pfas_words
from itm.registry.models import ConcentrateLot, Tank, TankMovement

TANK = Tank(tag="CT", capacity=3.0, capacity_typed="3 m³")


def lot(batch: str = "A", **more: Any) -> ConcentrateLot:
    values: dict[str, Any] = {
        "product": "Invented concentrate", "kind": "afff", "nominal_percent": Decimal("3"),
        "pfas": "contains", "refractive_index": Decimal("1.36300"), "density": Decimal("1020.0"),
        "ph": Decimal("7.50"),
    }  # fmt: skip
    return ConcentrateLot(batch=batch, **{**values, **more})


def moved(kind: str, day: int, cubic_metres: float | None = None, **more: Any) -> TankMovement:
    """On a day of January 2024."""
    return TankMovement(
        tank=TANK, kind=kind, moved_on=date(2024, 1, day), volume=cubic_metres,
        volume_typed=f"{cubic_metres} m³", **more,
    )  # fmt: skip


A, B = lot("A"), lot("B", refractive_index=Decimal("1.36600"), density=Decimal("1026.0"))
BOOK = [
    moved("fill", 1, 2.0, lot=A),
    moved("draw_off", 5, 0.5),  # 1.5 of A
    moved("top_up", 9, 0.75, lot=B),  # 1.5 of A, 0.75 of B: two thirds and one third
    moved("draw_off", 20, 0.9),  # 1.35 left: 0.9 of A, 0.45 of B
    moved("drain", 30),
]


def on(day: int, movements: list[TankMovement] = BOOK) -> Contents:
    return contents(TANK, movements, date(2024, 1, day))


@pytest.mark.parametrize(
    ("day", "volumes"),
    [
        (1, {"A": 2.0}), (4, {"A": 2.0}), (5, {"A": 1.5}), (8, {"A": 1.5}),
        (9, {"A": 1.5, "B": 0.75}), (20, {"A": 0.9, "B": 0.45}), (29, {"A": 0.9, "B": 0.45}),
        (30, {}),
    ],
)  # fmt: skip
def test_contents_of_each_day_by_hand(day: int, volumes: dict[str, float]) -> None:
    held = on(day)
    assert {part.lot.batch: part.volume for part in held.parts} == pytest.approx(volumes)
    assert held.volume == pytest.approx(sum(volumes.values()))
    assert sum(part.share for part in held.parts) == pytest.approx(1 if volumes else 0)
    assert held.noted
    assert not held.problems


def test_before_the_first_line_nothing_is_known_and_after_a_drain_it_is_empty() -> None:
    assert not contents(TANK, BOOK, date(2023, 12, 31)).noted
    assert (on(30).noted, on(30).volumes) == (True, ())


def test_properties_mix_by_volume() -> None:
    """By hand: index (2 · 1.36300 + 1 · 1.36600)/3 = 1.36400; density (2 · 1020 + 1026)/3 = 1022.
    The draw-off of day 20 takes of both alike and changes neither."""
    for day in (9, 20):
        held = on(day)
        assert held.refractive_index == pytest.approx(1.36400, abs=1e-12)
        assert held.density == pytest.approx(1022.0, abs=1e-9)
        engine = mixture_baseline([1.5, 0.75], [1.36300, 1.36600])
        assert held.refractive_index == pytest.approx(engine.value, rel=1e-14)


def test_ph_of_a_mixture_is_not_worked_out() -> None:
    assert on(5).ph == 7.5
    assert on(9).ph is None


def test_baseline_needs_the_certificate_of_every_lot() -> None:
    bare = lot("C", refractive_index=None)
    held = on(9, [moved("fill", 1, 1.0, lot=A), moved("top_up", 2, 1.0, lot=bare)])
    assert held.refractive_index is None
    assert held.density == pytest.approx(1020.0)


@pytest.mark.parametrize(
    ("movements", "code", "excess"),
    [
        ([moved("fill", 1, 2.0, lot=A), moved("top_up", 2, 1.1, lot=A)], "over_capacity", 0.1),
        ([moved("fill", 1, 2.0, lot=A), moved("draw_off", 2, 2.5)], "more_than_there", 0.5),
        ([moved("fill", 1, 1.0, lot=A), moved("fill", 2, 1.0, lot=A)], "overlap", 0.0),
        ([moved("draw_off", 2, 0.1)], "more_than_there", 0.1),
    ],
)
def test_impossible_book_says_so_and_does_not_stop(
    movements: list[TankMovement], code: str, excess: float
) -> None:
    [problem] = ledger(TANK, movements)[-1].problems
    assert problem.code == code
    assert problem.excess == pytest.approx(excess)
    assert on(20, movements).problems or code == "more_than_there"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "ar_afff"}, "AFFF with AR-AFFF"),
        ({"nominal_percent": Decimal("6")}, "3 % with 6 %"),
        ({"pfas": "free"}, "fluorine-free concentrate with one that contains PFAS"),
        ({"batch": "Z", "ph": None}, ""),  # another batch of the same is no mixture of kinds
    ],
)
def test_mixing_needs_somebody_who_answers_for_it(change: dict[str, Any], said: str) -> None:
    movements = [moved("fill", 1, 1.0, lot=A), moved("top_up", 2, 0.5, lot=lot(**change))]
    problems = ledger(TANK, movements)[-1].problems
    assert [problem.code for problem in problems] == (["mixed"] if said else [])
    assert said in "".join(problem.sentence for problem in problems)
    movements[1].allowed_by, movements[1].allowed_because = "R. Invented", "both makers agree"
    held = on(9, movements)
    assert not held.problems
    assert [mixing.what for mixing in held.mixings] == ([said] if said else [])
    # It stays while any of it is there, and goes with a drain.
    assert on(9, [*movements, moved("draw_off", 3, 1.0)]).mixings == held.mixings
    assert on(9, [*movements, moved("drain", 3)]).mixings == ()


def test_mixture_has_neither_one_type_nor_one_nominal() -> None:
    other = lot("B", kind="ar_afff", nominal_percent=Decimal("6"))
    held = on(9, [moved("fill", 1, 1.0, lot=A), moved("top_up", 2, 0.5, lot=other)])
    assert (held.kind, held.nominal_percent) == (None, None)
    assert (on(9).kind, on(9).nominal_percent) == ("AFFF", Decimal("3"))


FREE, UNKNOWN = {"kind": "sfff", "pfas": "free"}, {"pfas": "unknown"}


@pytest.mark.parametrize(
    ("movements", "status"),
    [
        ([moved("fill", 1, 1.0, lot=lot(**FREE))], "Fluorine-free by its certificate"),
        ([moved("fill", 1, 1.0, lot=lot())], "Contains PFAS"),
        ([moved("fill", 1, 1.0, lot=lot(**UNKNOWN))], "Not known"),
        (
            [moved("fill", 1, 1.0, lot=lot()), moved("drain", 2),
             moved("fill", 3, 1.0, lot=lot("F", **FREE))],
            "Fluorine-free by its certificate, in a tank that held PFAS: no cleaning noted",
        ),
        (
            [moved("fill", 1, 1.0, lot=lot()), moved("draw_off", 2, 1.0),
             moved("fill", 3, 1.0, lot=lot("F", **FREE))],
            "Fluorine-free by its certificate, in a tank that held PFAS: no cleaning noted",
        ),
        (
            [moved("fill", 1, 1.0, lot=lot()),
             moved("drain", 2, cleaned="three rinses", residue_mg_l=Decimal("12.50")),
             moved("fill", 3, 1.0, lot=lot("F", **FREE)), moved("drain", 5),
             moved("fill", 5, 1.0, lot=lot("G", **FREE), position=1)],
            "Fluorine-free by its certificate, in a tank that held PFAS: cleaned 2 Jan 2024, "
            "12.5 mg/L of PFAS found then",
        ),
        (
            [moved("fill", 1, 1.0, lot=lot()),
             moved("drain", 2, cleaned="warm water", rinses=3, rinse_volume=0.45,
                   rinse_volume_typed="450 L")],
            "Empty, in a tank that held PFAS: cleaned 2 Jan 2024, 3 rinses, 450 L of rinse water, "
            "no analysis of what is left",
        ),
        (
            [moved("fill", 1, 1.0, lot=lot()), moved("drain", 2, cleaned="three rinses"),
             moved("fill", 3, 1.0, lot=lot()), moved("drain", 4)],
            "Empty, in a tank that held PFAS: no cleaning noted",
        ),
    ],
)  # fmt: skip
def test_pfas_status_is_that_of_the_tank(movements: list[TankMovement], status: str) -> None:
    """A fluorine-free fill in an uncleaned tank is not free of PFAS (field practice, section 5)."""
    assert pfas_words(on(30, movements)) == status


def test_order_within_a_day_is_the_position_and_not_the_hour_of_typing() -> None:
    drain, fill = moved("drain", 9, position=-1), moved("fill", 9, 1.0, lot=B)
    held = on(9, [moved("fill", 1, 2.0, lot=A), fill, drain])
    assert [part.lot.batch for part in held.parts] == ["B"]


@given(
    st.lists(
        st.tuples(st.sampled_from(["top_up", "draw_off", "drain"]), st.integers(1, 3000)),
        max_size=40,
    )
)
def test_no_litre_appears_or_vanishes(steps: list[tuple[str, int]]) -> None:
    """In whole litres the book is exact: what stands there is what went in less what came out."""
    litres = 0
    movements = []
    for day, (kind, volume) in enumerate(steps):
        if kind == "drain":
            litres = 0
        elif kind == "top_up":
            volume = min(volume, 3000 - litres)
            litres += volume
        else:
            volume = min(volume, litres)
            litres -= volume
        if volume:
            more = {"lot": (A, B)[day % 2]} if kind == "top_up" else {}
            movements.append(moved(kind, 1, volume / 1000, position=day, **more))
    held = on(30, movements)
    assert held.volume == pytest.approx(litres / 1000, abs=1e-8)
    assert not held.problems
    assert all(part.volume >= 0 for part in held.parts)
    if len(held.volumes) == 2:
        low, high = sorted([1.36300, 1.36600])
        assert low - 1e-12 <= (held.refractive_index or 0) <= high + 1e-12


@pytest.mark.parametrize(
    ("cubic_metres", "like", "words"),
    [
        (1.35, "3 m³", "1.35 m³"),
        (0.0, "3 m³", "0 m³"),
        (2.8, "3000 L", "2\u2009800 L"),
        (0.000043216, "1200 L", "0.04322 L"),
        (3.785411784, "1200 US gal", "1\u2009000 US gal"),  # exact by definition, 231 in³
        (12.345678, "20 m³", "12.35 m³"),
    ],
)
def test_worked_out_volume_is_written_in_the_unit_of_the_tank(
    cubic_metres: float, like: str, words: str
) -> None:
    assert amount(cubic_metres, like) == words
