"""Quantities in the reader's units.

Held against exact definitions (NIST SP 811, Appendix B.8, also check value E-05): the US gallon is
231 cubic inches, the inch 25.4 mm, the pound 0.45359237 kg, the pound-force 4.4482216152605 N; 212
is in °F what 100 is in °C, and -40 is the same on both scales (NIST SP 811, B.8, from memory). The
right-hand sides below are worked out from these in exact decimals, not by the module itself.
"""

from decimal import Decimal

import pytest
from django import forms

from calc.units import FLOW, VOLUME
from itm.core.conversions import like, quantity, worked_out
from itm.core.figures import thin
from itm.core.measures import FAMILIES, KINDS, TEMPERATURE, Measures, own_first, reading_in
from itm.core.quantities import QuantityField
from itm.core.quantities import quantity as read

GALLON = Decimal(231) * Decimal("2.54") ** 3 / 1000  # litres
PSI = Decimal("4.4482216152605") / Decimal("0.0254") ** 2  # pascals


def four(value: Decimal) -> str:
    return f"{value:.4g}"


@pytest.mark.parametrize(
    ("typed", "us"),
    [
        ("1900 L/min", f"{four(1900 / GALLON)} US gpm"),
        ("12,5 bar", f"{four(Decimal('12.5e5') / PSI)} psi"),
        ("700 kPa", f"{four(Decimal('7e5') / PSI)} psi"),
        ("100 °C", "212 °F"),
        ("-40 °C", "-40 °F"),
        ("254 mm", "10 in"),
        ("3.048 m", "10 ft"),
        ("100 kg", f"{four(100 / Decimal('0.45359237'))} lb"),
        ("10 imp gal", f"{four(Decimal('45.4609') / GALLON)} US gal"),
    ],
)
def test_a_reader_of_us_units_sees_them_with_what_was_typed_beside(typed: str, us: str) -> None:
    with reading_in("us"):
        assert quantity(typed) == f"{us} (typed {typed})"


@pytest.mark.parametrize(
    ("typed", "si"),
    [
        ("500 US gpm", f"{thin(f'{500 * GALLON:.0f}')} L/min"),
        ("100 psi", f"{four(100 * PSI / 100000)} bar"),
        ("212 °F", "100 °C"),
        ("10 US gal", f"{four(10 * GALLON)} L"),
        ("36 in", "914.4 mm"),
        ("6 ft", "1.829 m"),
        ("100 lb", f"{four(100 * Decimal('0.45359237'))} kg"),
    ],
)
def test_a_reader_of_si_sees_si_with_what_was_typed_beside(typed: str, si: str) -> None:
    assert quantity(typed) == f"{si} (typed {typed})"


@pytest.mark.parametrize("measures", Measures.values)
def test_what_was_typed_in_the_readers_units_stays_as_it_was_typed(measures: str) -> None:
    with reading_in(measures):
        for kind in FAMILIES[measures]:
            for unit in kind:
                assert quantity(f"1 900,50 {unit}") == f"1 900,50 {unit}"


def test_text_that_is_no_quantity_is_left_alone() -> None:
    with reading_in("us"):
        for text in ("", "1900", "not noted", "about 12 bar", "10 mL", "7 furlongs"):
            assert quantity(text) == text


def test_every_reader_has_units_of_every_kind_that_we_know() -> None:
    for measures in Measures.values:
        for usual in FAMILIES[measures]:
            assert len([kind for kind in KINDS if set(usual) <= set(kind)]) == 1
        assert len(FAMILIES[measures]) == len(KINDS)


def test_a_worked_out_figure_takes_the_unit_of_what_it_goes_with_or_the_readers_own() -> None:
    assert like("5 m³") == "5 m³"
    assert like("1000 US gal") == "0 L"
    with reading_in("us"):
        assert like("5 m³") == like("2000 L") == "0 US gal"
        assert worked_out(1.0, "US gal") == "264.2 US gal"
        assert worked_out(0.0, "US gal") == "0 US gal"


def test_the_choice_ends_with_the_page() -> None:
    with reading_in("us"):
        assert quantity("1 bar") != "1 bar"
    assert quantity("1 bar") == "1 bar"


class Flow(forms.Form):
    flow = QuantityField(units=FLOW)
    volume = QuantityField(units=VOLUME, required=False)


def test_an_empty_entry_begins_with_the_readers_unit_and_a_full_one_keeps_its_own() -> None:
    assert own_first(FLOW) == "L/min"
    with reading_in("us"):
        drawn = str(Flow())
        assert '<option value="US gpm" selected>' in drawn
        assert '<option value="US gal" selected>' in drawn
        kept = str(Flow(initial={"flow": "1900 L/min"}))
        assert '<option value="L/min" selected>' in kept
        assert Flow({"flow": "500", "flow_unit": "US gpm"}).is_valid()


@pytest.mark.parametrize(("typed", "celsius"), [("212", 100.0), ("32", 0.0), ("-40", -40.0)])
def test_degrees_fahrenheit_are_read_with_their_own_zero(typed: str, celsius: float) -> None:
    found = read(typed, "°F", TEMPERATURE)
    assert found.si == pytest.approx(celsius, abs=1e-12)
    assert found.typed == f"{typed} °F"
