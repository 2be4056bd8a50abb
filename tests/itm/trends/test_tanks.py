"""What years of concentrate checks say: open limits, what changed in the measuring, many series.

All figures are invented; a trend of ten rising values has a chance of 2/10! (Gilbert 1987, 16.4),
one of five 2/5! = 0.0167.
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from calc.kendall import LEVEL
from itm.registry.properties import PROPERTIES
from itm.reports.plot import TrendSeries, trend_plot
from itm.trends.tanks import (
    ConcentrateSeries,
    Measured,
    PropertySeries,
    changes_of,
    lot_series,
    statements,
)
from tests.checks import checked, lot_of
from tests.factories import ConcentrateLotFactory, SiteFactory, TankFactory, TankFillFactory

OPEN = (None, Decimal("0.25"))


def year(n: int, value: float, **more) -> Measured:
    given = {"laboratory": False, "ends": OPEN, "method": "", "by": "", **more}
    return Measured(
        checked_on=date(2010 + n, 6, 15), value=value, typed=f"{value} %", temperature="20.0",
        side="in band", check=uuid4(), **given,
    )  # fmt: skip


def series(points, name="sediment_percent", point="top") -> PropertySeries:
    known = PROPERTIES[name]
    return PropertySeries(
        known, point, tuple(points), changes_of(points, known), points[-1].ends, None
    )


def said(*rows: PropertySeries) -> list[str]:
    tank = ConcentrateSeries(series=rows, events=(), left_out=0, count=10)
    return [" ".join(one) for one in statements(tank)]


RISING = [year(n, 0.10 + 0.01 * n) for n in range(10)]


def test_one_limit_alone_is_left_on_its_own_side():
    """0.09 in 3287 days: the 0.06 that are left take 2191 more, which is arithmetic."""
    [words] = said(series(RISING))
    assert "is rising" in words
    assert "above its limits between" in words
    assert "likely 14 Jun 2025" in words
    assert "below its limits" not in words


def test_one_limit_alone_is_drawn_as_far_as_the_picture_goes():
    one = series(RISING)
    drawn = TrendSeries(
        name=one.name, bands=one.bands,
        points=tuple((m.checked_on, m.value, None, None, m.side, "settled", "") for m in RISING),
    )  # fmt: skip
    plot = trend_plot(drawn)
    assert "hatch" in plot
    assert not {"inf", "nan"} & set(plot.replace('"', " ").replace(",", " ").split())
    none = trend_plot(TrendSeries(name=one.name, points=drawn.points))
    assert plot.count("<path") > none.count("<path") or plot.count("<line") > none.count("<line")


def test_without_any_limit_nothing_is_left_and_nothing_is_hatched():
    one = series([year(n, 0.10 + 0.01 * n, ends=(None, None)) for n in range(10)])
    assert one.bands == ()
    [words] = said(one)
    assert "is rising" in words
    assert "limits" not in words


def test_limits_are_drawn_as_they_stood_and_a_change_is_a_mark():
    tighter = (None, Decimal("0.2"))
    points = RISING[:5] + [year(n, 0.10 + 0.01 * n, ends=tighter) for n in range(5, 10)]
    one = series(points)
    assert [(since, high) for since, _, high in one.bands] == [
        (None, 0.25), (date(2015, 6, 15), 0.2),
    ]  # fmt: skip
    assert [(event.day, event.words) for event in one.changes] == [
        (date(2015, 6, 15), "other limits")
    ]
    assert not one.changes[0].changes  # other limits move no result


def test_a_step_where_a_laboratory_follows_the_crew_is_no_drift():
    crew = [year(n, 0.10) for n in range(5)]
    after = [year(n, 0.15, laboratory=True, by="Invented laboratory") for n in range(5, 10)]
    [words] = said(series([*crew, *after]))
    assert "At by a laboratory (15 Jun 2015): a step up" in words
    assert "is rising" not in words
    [mixed] = said(series([year(n, 0.10 + 0.05 * (n > 4)) for n in range(10)]))
    assert "is rising" in mixed  # what it was read as before


def test_who_goes_to_and_fro_has_no_before_and_after():
    points = [year(n, 0.10 + 0.01 * n, laboratory=n % 3 == 2, by="Invented") for n in range(10)]
    one = series(points)
    assert {event.words for event in one.changes} == {"by a laboratory", "by the crew"}
    assert not any(event.changes for event in one.changes)
    [words] = said(one)
    assert "is rising" in words


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ({"by": "Invented east", "laboratory": True}, {"by": "Invented west", "laboratory": True},
         "other laboratory"),
        ({"method": "hydrometer"}, {"method": "pycnometer"}, "other method"),
    ],
)  # fmt: skip
def test_another_laboratory_or_method_is_a_mark_and_no_regime(before, after, words):
    points = [year(n, 0.10 + 0.01 * n, **(before if n < 5 else after)) for n in range(10)]
    [event] = series(points).changes
    assert (event.day, event.words, event.changes) == (date(2015, 6, 15), words, False)


def test_among_many_series_each_trend_says_how_often_chance_gives_one():
    """Of 20 series one rises in five years: 2/5! times 20 by Benjamini and Hochberg (1995)."""
    level = [year(n, 0.10 + 0.01 * (n % 2)) for n in range(5)]
    rows = [series(level, point=f"point {n}") for n in range(19)]
    words = said(series(RISING[:5]), *rows)
    assert "is rising" in words[0]
    raised = 20 * 2 / 120
    assert raised > LEVEL
    assert f"in {100 * raised:.0f} of 100: more often than 5, so a hint and no more" in words[0]
    assert not any("Among so many" in one for one in words[1:])
    [alone] = said(series(RISING[:5]))
    assert "Among so many" not in alone


def test_a_lot_is_read_where_nothing_else_stands(scene, sign_in):
    lot = lot_of(scene)
    mixture = replace(scene, tank=TankFactory(site=scene.site, tag="MIX-1"))
    TankFillFactory(tank=mixture.tank, lot=lot)
    other = ConcentrateLotFactory(owner=scene.owner.organisation)
    TankFillFactory(tank=mixture.tank, lot=other, kind="top_up")
    alone = replace(scene, tank=TankFactory(site=scene.site, tag="ALONE-1"))
    TankFillFactory(tank=alone.tank, lot=lot)
    for one in (scene, mixture, alone):
        checked(one)
    found = lot_series(scene.owner, lot)
    assert found.count == 2
    tags = {series.point.split(",")[0] for series in found.series}
    assert tags == {scene.tank.tag, "ALONE-1"}
    page = sign_in(Client(), scene.authority)
    there = reverse("lot_history", args=[lot.key])
    assert there in page.get(reverse("lot", args=[lot.key])).content.decode()
    shown = page.get(there).content.decode()
    assert "Refractive index nD, ALONE-1, top" in shown
    assert "MIX-1" not in shown
    table = page.get(reverse("lot_history_csv", args=[lot.key])).content.decode()
    measured = [row for row in table.splitlines() if ",in the series," in row]
    assert "".join(measured).count("ALONE-1") == sum(
        len(one.points) for one in found.series if one.point.startswith("ALONE-1")
    )


def test_nobody_reads_of_a_lot_at_sites_that_are_not_theirs(scene):
    lot = lot_of(scene)
    elsewhere = TankFactory(site=SiteFactory(owner=scene.owner.organisation), tag="FAR-1")
    TankFillFactory(tank=elsewhere, lot=lot)
    checked(replace(scene, site=elsewhere.site, tank=elsewhere), by=scene.owner)
    checked(scene)
    assert lot_series(scene.owner, lot).count == 2
    assert lot_series(scene.authority, lot).count == 1
