"""Limits of properties as data; the published ones are checked in published/ (topic j)."""

import pytest

from calc.errors import CalcError
from calc.properties import PROPERTIES, against, read_limit, read_programme, shipped_programmes


def a_programme(**changed):
    row = {
        "property": "density",
        "lowest": "1010",
        "highest": 1030,
        "source": "certificate",
        "confidence": "looked up",
        **changed,
    }
    row = {key: value for key, value in row.items() if value is not None}
    return {"code": "own", "title": "Own", "edition": "2026", "limits": [row]}


def test_every_starter_limit_names_its_source_and_its_confidence():
    programmes = shipped_programmes()
    assert set(programmes) == {
        *["ships", "european", "military-film-former-3", "military-film-former-6"],
    }
    rows = [limit for programme in programmes.values() for limit in programme.limits.values()]
    assert all(limit.source and limit.confidence and limit.name in PROPERTIES for limit in rows)


@pytest.mark.parametrize(
    ("value", "side"),
    [(1009.999, "below"), (1010, "within"), ("1030", "within"), (1030.001, "above")],
)
def test_value_on_a_limit_is_within(value, side):
    assert against(value, read_programme(a_programme()).limits["density"]) == side


@pytest.mark.parametrize(
    ("changed", "code", "where"),
    [
        ({"property": "colour"}, "unknown_choice", "$.limits[0].property"),
        ({"source": None}, "missing_key", "$.limits[0].source"),
        ({"lowest": 1031}, "empty_range", "$.limits[0]"),
        ({"lowest": None, "highest": None}, "empty_range", "$.limits[0]"),
        ({"lowest": "x"}, "not_a_number", "$.limits[0].lowest"),
        ({"lowest": True}, "not_a_number", "$.limits[0].lowest"),
        ({"lowest": 2**60}, "integer_too_big", "$.limits[0].lowest"),
        ({"highest": "1e999"}, "out_of_range", "$.limits[0].highest"),
    ],
)
def test_broken_limit_is_refused_at_its_place(changed, code, where):
    with pytest.raises(CalcError) as refused:
        read_programme(a_programme(**changed))
    assert (refused.value.code, refused.value.where) == (code, where)
    assert refused.value.message


def test_open_range_has_one_end():
    limit = read_limit({"lowest": 5}, "$", "expansion", "certificate", "looked up")
    assert (limit.lowest, limit.highest) == (5, None)
