"""Numbers as people type them. Factors: NIST SP 811 (2008), Appendix B.8, through calc.units."""

from decimal import Decimal

import pytest
from django import forms

from calc.units import FLOW, VOLUME
from itm.core.errors import Refused
from itm.core.fields import DayField, LinesField, NumberField
from itm.core.quantities import Quantity, QuantityField, parse_decimal, quantity


class Tank(forms.Form):
    flow = QuantityField(units=FLOW)
    volume = QuantityField(units=VOLUME, required=False)
    percent = NumberField(required=False)
    day = DayField(required=False)
    lines = LinesField(required=False)


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("1.3341", "1.3341"),
        ("1,3341", "1.3341"),
        (" 12 500 ", "12500"),
        ("12\u202f500,5", "12500.5"),
        ("12\u2009500", "12500"),
        ("−3", "-3"),
        (".5", "0.5"),
        ("3.000", "3.000"),
    ],
)
def test_point_comma_and_spaces_are_all_read(typed: str, number: str) -> None:
    assert parse_decimal(typed) == Decimal(number)
    assert str(parse_decimal(typed)) == number  # the digits typed stay


@pytest.mark.parametrize(
    "typed", ["", "abc", "1.2.3", "1e5", "nan", "inf", "1,234.5", "--3", "1" * 21, "3 %", "0x10"]
)
def test_what_is_no_number_is_refused_with_a_sentence(typed: str) -> None:
    with pytest.raises(Refused) as refused:
        parse_decimal(typed, place="reading", what="The reading")
    assert refused.value.code == "not_a_number"
    assert refused.value.place == "reading"
    assert refused.value.sentence.startswith("The reading is “")
    assert "12.5" in refused.value.sentence


def test_quantity_keeps_what_was_typed_beside_the_si_value() -> None:
    flow = quantity("1900", "L/min", FLOW)
    assert flow == Quantity(pytest.approx(1.9 / 60, rel=1e-15), "1900 L/min")
    # 1 US gallon is 3.785411784 L exactly (NIST SP 811, B.8)
    assert quantity("60", "US gpm", FLOW).si == pytest.approx(3.785411784e-3, rel=1e-15)


def test_unknown_unit_names_the_known_ones() -> None:
    with pytest.raises(Refused, match="not one of L, m³") as refused:
        quantity("5", "barrel", VOLUME)
    assert refused.value.code == "unknown_unit"


@pytest.mark.parametrize("typed", ["1,900", "12,500", "-1,900"])
def test_comma_before_three_digits_is_asked_and_not_guessed(typed: str) -> None:
    with pytest.raises(Refused, match="two ways") as refused:
        quantity(typed, "L/min", FLOW)
    assert refused.value.code == "ambiguous_comma"
    assert typed.replace(",", "") in refused.value.sentence
    assert typed.replace(",", ".") in refused.value.sentence


@pytest.mark.parametrize(("typed", "litres"), [("0,950", 0.95), ("12,5", 12.5), ("1,2500", 1.25)])
def test_comma_that_can_only_be_decimal_is_taken(typed: str, litres: float) -> None:
    assert quantity(typed, "L", VOLUME).si == pytest.approx(litres / 1000, rel=1e-15)


def test_field_shows_again_what_was_typed_with_spaces_in_number_and_unit() -> None:
    form = Tank(initial={"flow": "1 900 US gpm"})
    page = str(form["flow"])
    assert 'value="1 900"' in page
    assert '<option value="US gpm" selected>' in page


def test_field_cleans_to_a_quantity_or_to_none_when_it_may_be_empty() -> None:
    form = Tank({"flow": "500", "flow_unit": "US gpm", "volume": "", "volume_unit": "L"})
    assert form.is_valid()
    assert form.cleaned_data["flow"].typed == "500 US gpm"
    assert form.cleaned_data["volume"] is None


def test_field_that_must_be_filled_says_so_and_keeps_the_unit() -> None:
    form = Tank({"flow": "", "flow_unit": "US gpm"})
    assert form.errors["flow"] == ["This field is required."]
    assert '<option value="US gpm" selected>' in str(form["flow"])


def test_wrong_number_stays_in_the_field_with_its_sentence() -> None:
    form = Tank({"flow": "19OO", "flow_unit": "L/min"})
    assert "19OO" in form.errors["flow"][0]
    assert 'value="19OO"' in str(form["flow"])


def test_plain_number_drops_the_zeros_of_the_column_and_reads_a_comma() -> None:
    assert 'value="3"' in str(Tank(initial={"percent": Decimal("3.000")})["percent"])
    assert 'value="10"' in str(Tank(initial={"percent": 10.0})["percent"])
    form = Tank({"flow": "1", "flow_unit": "L/min", "percent": "2,75"})
    assert form.is_valid()
    assert form.cleaned_data["percent"] == Decimal("2.75")
    wrong = Tank({"flow": "1", "flow_unit": "L/min", "percent": "three"})
    assert "“three”" in wrong.errors["percent"][0]
    assert 'value="three"' in str(wrong["percent"])


def test_day_has_one_way_to_be_written() -> None:
    form = Tank({"flow": "1", "flow_unit": "L/min", "day": "11/12/2026"})
    assert form.errors["day"] == ["Write the day as year, month and day, for example 2026-11-30."]
    assert "11/12/2026" in str(form["day"])


def test_lines_come_one_each_without_the_empty_ones() -> None:
    form = Tank({"flow": "1", "flow_unit": "L/min", "lines": " Valve open \r\n\r\nDrain shut\n"})
    assert form.is_valid()
    assert form.cleaned_data["lines"] == ["Valve open", "Drain shut"]
    assert "Valve open\nDrain shut" in str(
        Tank(initial={"lines": ["Valve open", "Drain shut"]})["lines"]
    )
    long = Tank({"flow": "1", "flow_unit": "L/min", "lines": "short\n" + "x" * 201})
    assert long.errors["lines"] == ["Line 2 has 201 characters; 200 are the most."]


def test_the_number_of_a_quantity_has_the_label_of_its_field() -> None:
    field = Tank()["flow"]
    assert not field.use_fieldset
    assert field.id_for_label == "id_flow_0"
    assert 'id="id_flow_0"' in str(field)
