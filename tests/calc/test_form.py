"""What the form refuses: the code, the JSON path and a sentence that says what would be right."""

import copy
from decimal import Decimal

import pytest

import calc
from calc.entries import LONGEST_INPUT, load
from calc.errors import REFUSALS, WARNINGS, CalcError
from tests.calc.benches import a_bench, readings

NAN, INF = float("nan"), float("inf")


def changed(path, value):
    """The bench with one entry put in; the path is written as in the refusal."""
    bench = copy.deepcopy(a_bench())
    steps = path.removeprefix("$.").replace("[", ".").replace("]", "").split(".")
    place = bench
    for step in steps[:-1]:
        place = place[int(step)] if step.isdigit() else place[step]
    last = int(steps[-1]) if steps[-1].isdigit() else steps[-1]
    place[last] = value
    return bench


def without(path, key):
    bench = changed("$.fit", "ordinary")
    steps = [s for s in path.replace("[", ".").replace("]", "").split(".") if s != "$"]
    place = bench
    for step in steps:
        place = place[int(step)] if step.isdigit() else place[step]
    del place[key]
    return bench


def refusal(data):
    with pytest.raises(CalcError) as refused:
        calc.evaluate(data)
    message = refused.value.message
    assert "\n" not in message
    assert "; " in message or "needs" in message  # what is wrong; what would be right
    return refused.value.code, refused.value.where


VALUE = "$.samples[0].readings[0].value"


@pytest.mark.parametrize(
    ("path", "value", "code"),
    [
        ("$.method", "ph", "unknown_choice"),
        ("$.method", None, "unknown_choice"),
        ("$.method", ["brix"], "unknown_choice"),
        ("$.nominal_percent", "3", "not_a_number"),
        ("$.nominal_percent", True, "not_a_number"),
        ("$.nominal_percent", 0, "out_of_range"),
        ("$.nominal_percent", -3.0, "out_of_range"),
        ("$.nominal_percent", 100.5, "out_of_range"),
        ("$.criterion", "ship", "unknown_choice"),
        ("$.criterion", 3.9, "unknown_choice"),
        ("$.criterion", {"lower": 3.9, "upper": 3.0}, "limits_out_of_order"),
        ("$.criterion", {"lower": 3.0, "upper": 3.0}, "limits_out_of_order"),
        ("$.criterion", {"lower": -1, "upper": 3.0}, "limits_out_of_order"),
        ("$.criterion", {"lower": 3, "upper": 101}, "limits_out_of_order"),
        ("$.instrument", None, "not_an_object"),
        ("$.instrument.resolution", 0, "out_of_range"),
        ("$.instrument.resolution", -1e-4, "out_of_range"),
        ("$.instrument.resolution", None, "not_a_number"),
        ("$.instrument.repeatability", 0, "out_of_range"),
        ("$.instrument.repeatability", False, "not_a_number"),
        ("$.instrument.temperature_compensated", 1, "not_a_flag"),
        ("$.instrument.temperature_compensated", "false", "not_a_flag"),
        ("$.instrument.temperature_compensated", None, "not_a_flag"),
        ("$.water", [], "empty_list"),
        ("$.water", None, "not_a_list"),
        ("$.water", {}, "not_a_list"),
        ("$.water[0]", 1.333, "not_an_object"),
        ("$.standards", [], "empty_list"),
        ("$.standards[1]", [], "not_an_object"),
        ("$.standards[0].percent", 0, "out_of_range"),
        ("$.standards[0].percent", 101, "out_of_range"),
        ("$.standards[0].readings", [], "empty_list"),
        ("$.standards[1].concentrate_ml", -1, "out_of_range"),
        ("$.standards[1].water_ml", 1e12, "out_of_range"),
        ("$.concentrate", [], "empty_list"),
        ("$.concentrate[0].value", "1.36", "not_a_number"),
        ("$.samples", [], "empty_list"),
        ("$.samples", "bottle", "not_a_list"),
        ("$.samples[0].name", "", "blank_text"),
        ("$.samples[0].name", " \t", "blank_text"),
        ("$.samples[0].name", 4, "not_text"),
        ("$.samples[0].name", "\ud800", "broken_text"),
        ("$.samples[2].name", "bottle 1", "repeated_name"),
        ("$.samples[0].flow_point", None, "not_text"),
        ("$.samples[0].flow_point", "", "blank_text"),
        ("$.samples[0].readings", [], "empty_list"),
        (VALUE, "1.3340", "not_a_number"),
        (VALUE, "1,3340", "not_a_number"),
        (VALUE, None, "not_a_number"),
        (VALUE, True, "not_a_number"),
        (VALUE, [[[[1]]]], "not_a_number"),
        (VALUE, {}, "not_a_number"),
        (VALUE, 1j, "not_a_number"),
        (VALUE, NAN, "not_finite"),
        (VALUE, INF, "not_finite"),
        (VALUE, -INF, "not_finite"),
        (VALUE, Decimal("NaN"), "not_finite"),
        (VALUE, Decimal("sNaN"), "not_finite"),
        (VALUE, Decimal("1e999"), "not_finite"),
        (VALUE, 2**53, "integer_too_big"),
        (VALUE, -(10**400), "integer_too_big"),
        ("$.samples[0].readings[0].temperature_c", "20", "not_a_number"),
        ("$.samples[0].readings[0].temperature_c", -300, "out_of_range"),
        ("$.samples[0].readings[0].temperature_c", 1e300, "out_of_range"),
        ("$.include_water", 1, "not_a_flag"),
        ("$.include_water", None, "not_a_flag"),
        ("$.fit", "origin", "unknown_choice"),
        ("$.fit", None, "unknown_choice"),
        ("$.verdict_probability", 0.49, "out_of_range"),
        ("$.verdict_probability", 1, "out_of_range"),
        ("$.verdict_probability", "0.75", "not_a_number"),
        ("$.verdict_probability", True, "not_a_number"),
    ],
)
def test_wrong_entry_is_refused_at_its_path(path, value, code):
    assert calc.evaluate(a_bench()).samples  # the same bench passes without the change
    assert refusal(changed(path, value)) == (code, path)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("$.nominal_percent", 100),
        ("$.criterion", {"lower": 0, "upper": 100}),
        ("$.instrument.repeatability", 1e-5),
        ("$.concentrate", None),
        ("$.samples[0].readings[0].temperature_c", None),
        ("$.samples[0].name", "Flasche Ü-4 / 泡"),
        ("$.verdict_probability", 0.5),
        ("$.verdict_probability", 0.999999),
        ("$.verdict_probability", None),
        ("$.include_water", False),
        (VALUE, Decimal("1.33401")),
        ("$.water", tuple(readings(1.33301))),
    ],
)
def test_entry_at_the_edge_of_what_is_allowed_passes(path, value):
    assert calc.evaluate(changed(path, value)).samples


@pytest.mark.parametrize(
    ("path", "keys"),
    [
        (
            "$",
            [
                *["method", "nominal_percent", "criterion", "instrument", "water", "standards"],
                *["concentrate", "samples"],
            ],
        ),
        ("$.instrument", ["resolution", "repeatability", "temperature_compensated"]),
        ("$.standards[0]", ["readings"]),
        ("$.samples[0]", ["name", "readings"]),
        ("$.samples[0].readings[0]", ["value", "temperature_c"]),
    ],
)
def test_missing_key_is_named_with_its_path(path, keys):
    for key in keys:
        assert refusal(without(path, key)) == ("missing_key", f"{path}.{key}")


@pytest.mark.parametrize(
    "path",
    ["$", "$.instrument", "$.standards[0]", "$.samples[0]", "$.samples[0].readings[0]"],
)
def test_unknown_key_is_refused_where_it_stands(path):
    assert refusal(changed(f"{path}.colour", 1)) == ("unknown_key", path)


def test_unknown_key_is_refused_in_custom_limits():
    bench = a_bench(criterion={"lower": 3, "upper": 4, "edition": 2021})
    assert refusal(bench) == ("unknown_key", "$.criterion")
    assert refusal(a_bench(criterion={"lower": 3})) == ("missing_key", "$.criterion.upper")


def test_key_that_is_no_text_is_refused():
    assert refusal({**a_bench(), 7: 1}) == ("unknown_key", "$")


@pytest.mark.parametrize(
    "made",
    [
        {},
        {"concentrate_ml": 15},
        {"water_ml": 485},
        {"percent": 3, "concentrate_ml": 15, "water_ml": 485},
        {"percent": 3, "water_ml": 485},
    ],
)
def test_standard_is_made_in_exactly_one_way(made):
    bench = changed("$.standards[1]", {**made, "readings": readings(1.33389)})
    assert refusal(bench) == ("percent_or_volumes", "$.standards[1]")


def test_standard_of_no_volume_is_refused():
    nothing = {"concentrate_ml": 0, "water_ml": 0, "readings": readings(1.33389)}
    assert refusal(changed("$.standards[1]", nothing)) == ("nothing_mixed", "$.standards[1]")


def test_one_standard_is_too_few():
    bench = a_bench(standards=a_bench()["standards"][:1])
    assert refusal(bench) == ("too_few_standards", "$.standards")


@pytest.mark.parametrize("data", [None, [], "test", 3, True, [a_bench()]])
def test_anything_but_an_object_is_refused(data):
    assert refusal(data) == ("not_an_object", "$")


def test_what_was_passed_in_is_left_alone():
    bench = a_bench()
    before = copy.deepcopy(bench)
    calc.evaluate(bench)
    assert bench == before


def text_refusal(data):
    with pytest.raises(CalcError) as refused:
        calc.evaluate(load(data))
    return refused.value.code, refused.value.where


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty_input"),
        (b" \n\t", "empty_input"),
        (b"\xef\xbb\xbf", "empty_input"),
        (b"{", "not_json"),
        (b'{"method": "brix",}', "not_json"),
        (b"{} {}", "not_json"),
        (b"{'method': 1}", "not_json"),
        (b"\xff\xfe{\x00}\x00", "not_utf8"),
        (b'{"method": "br\xe9x"}', "not_utf8"),
        (b"[" * 100_000, "nested_too_deep"),
        (b'{"a":' * 100_000, "nested_too_deep"),
        (b" " * (LONGEST_INPUT + 1), "too_long"),
        (b"NaN", "not_an_object"),
    ],
)
def test_text_that_is_no_test_is_refused(data, code):
    assert text_refusal(data) == (code, "$")


def test_repeated_key_is_refused_at_its_path():
    assert text_refusal(b'{"method": "brix", "method": "brix"}') == ("repeated_key", "$.method")


def test_number_literals_outside_json_are_refused_at_their_path():
    start = b'{"method":"brix","criterion":"common","instrument":null,"water":null,'
    rest = b'"standards":null,"concentrate":null,"samples":null,"nominal_percent":'
    for literal in (b"NaN", b"Infinity", b"-Infinity", b"1e400"):
        found = text_refusal(start + rest + literal + b"}")
        assert found == ("not_finite", "$.nominal_percent")
    found = text_refusal(start + rest + b"9" * 100_000 + b"}")
    assert found == ("integer_too_big", "$.nominal_percent")


def test_byte_order_mark_is_skipped():
    assert load(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}


def test_no_code_is_both_a_refusal_and_a_warning():
    assert not set(REFUSALS) & set(WARNINGS)


def test_text_of_a_stranger_cannot_break_the_line():
    bench = changed("$.method", "a\nb\x1b[31m" + "x" * 1000)
    with pytest.raises(CalcError) as refused:
        calc.evaluate(bench)
    assert str(refused.value).isprintable()
    assert len(str(refused.value)) < 200
