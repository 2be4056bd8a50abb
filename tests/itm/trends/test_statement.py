"""What the years say, in sentences. The judging is calc.trend's and is checked there; here it is
held that each judgement reaches people in the right words, with figures from outside where stated.
"""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from scipy import stats

from itm.schedule.models import Happening
from itm.trends.events import ADJUSTED, LOT
from itm.trends.queries import series
from itm.trends.statement import Statement, history, signed, statement
from tests.conftest import Scene
from tests.factories import ConcentrateLotFactory, InstrumentFactory, TankFillFactory
from tests.itm.trends.kept import kept, visited

NOW = datetime(2026, 7, 1, tzinfo=UTC)


def years(scene: Scene, *percents: float, first: int = 2010, **facts: Any) -> None:
    for i, percent in enumerate(percents):
        kept(scene, {"design": percent}, on=date(first + i, 6, 1), **facts)


def said(scene: Scene) -> Statement:
    found = series(scene.owner, scene.proportioner.key, NOW)
    [one] = [one for one in found.flow_points if one.name == "design"]
    told = statement(one, found.events)
    assert told is not None
    return told


def text(scene: Scene) -> str:
    return " ".join(said(scene).sentences)


def test_nothing_is_said_of_nothing(scene: Scene) -> None:
    found = series(scene.owner, scene.proportioner.key, NOW)
    assert [statement(one, found.events) for one in found.flow_points] == [None, None]


def test_four_results_get_a_refusal_and_no_date(scene: Scene) -> None:
    """Four rising ones come by chance in 2/4! = 8 of 100 series: above the level of 5."""
    years(scene, 3.1, 3.2, 3.3, 3.4)
    assert "Too few results for a trend: 4 results since 1 Jun 2010" in text(scene)
    assert "No date of leaving the band is forecast from so few results." in text(scene)
    assert not said(scene).falling


def test_a_falling_device_is_said_to_fall_with_slope_and_date(scene: Scene) -> None:
    """Slope against scipy's Theil-Sen, chance against scipy's exact Kendall."""
    percents = [3.80, 3.71, 3.66, 3.55, 3.48, 3.41, 3.29]
    years(scene, *percents)
    days = [date(2010 + i, 6, 1).toordinal() / 365.25 for i in range(len(percents))]
    slope = stats.theilslopes(percents, days).slope
    p = stats.kendalltau(days, percents, method="exact").pvalue
    told = text(scene)
    assert f"The percent is falling since 1 Jun 2010 (7 results): {signed(slope)} points" in told
    assert f"in {100 * p:.1g} of 100 series" in told
    assert "If it goes on like this it is lean between" in told
    assert "Wear need not go on as it did." in told
    assert said(scene).falling
    assert history([said(scene), None], "lean") == ["falling"]
    assert history([said(scene)], "rich") == []


def test_without_a_trend_no_date_is_planned_by(scene: Scene) -> None:
    years(scene, 3.40, 3.46, 3.38, 3.45, 3.41, 3.44)
    assert "No trend is shown by 6 results" in text(scene)
    assert "Without a trend there is no date to plan by" in text(scene)


def test_a_step_at_another_lot_is_no_wear(scene: Scene) -> None:
    """Five against four all apart: by chance in 2/C(9,4) = 1.6 of 100."""
    years(scene, 3.21, 3.22, 3.20, 3.23, 3.22, 3.52, 3.53, 3.51, 3.54, first=2017)
    TankFillFactory(tank=scene.tank, moved_on=date(2022, 1, 5))
    told = said(scene)
    assert told.steps == ((LOT, "up"),)
    assert "(5 Jan 2022): a step up by +0.31 points" in told.sentences[0]
    assert "in 2 of 100 such series" in told.sentences[0]
    assert history([told], "rich") == ["step_after_fill"]
    assert history([told], "lean") == []


def test_result_as_found_on_the_day_of_an_adjustment_lies_before_it(scene: Scene) -> None:
    years(scene, 3.21, 3.22, 3.20, 3.23)
    visit = visited(scene.contractor, scene.proportioner, date(2014, 6, 1))
    kept(scene, {"design": 3.22}, on=date(2014, 6, 1), visit=visit)
    kept(scene, {"design": 3.5}, on=date(2014, 6, 1), visit=visit, phase="as_left",
         adjusted="orifice renewed")  # fmt: skip
    assert "Nothing was measured since adjusted (1 Jun 2014)." in text(scene)
    years(scene, 3.51, 3.52, 3.53, 3.54, first=2015)
    assert said(scene).steps == ((ADJUSTED, "up"),)
    assert "5 before, 4 after" in text(scene)
    assert history([said(scene)], "rich") == ["step_after_repair"]


def topped_up(scene: Scene, on: date, *, of: float, product: str = "", **facts: Any) -> None:
    """A draw-off and a top-up of the same part of the tank with another batch."""
    first = scene.tank.movements.first()
    lot = ConcentrateLotFactory(
        owner=scene.owner.organisation, product=product or first.lot.product, kind=first.lot.kind,
        nominal_percent=first.lot.nominal_percent,
    )  # fmt: skip
    out = {"tank": scene.tank, "moved_on": on, "volume": of * first.volume}
    TankFillFactory(kind="draw_off", lot=None, position=1, reason="test", **out)
    TankFillFactory(kind="top_up", lot=lot, position=2, **out, **facts)


def test_yearly_top_ups_with_the_next_batch_leave_the_trend_whole(scene: Scene) -> None:
    """Seven falling ones in a row: by chance in 2/7! of the orders (counted)."""
    years(scene, 3.62, 3.51, 3.40, 3.29, 3.18, 3.07, 2.95, first=2019)
    for year in range(2019, 2025):
        topped_up(scene, date(year, 7, 1), of=0.05)
    assert said(scene).falling
    found = series(scene.owner, scene.proportioner.key, NOW)
    told = [event for event in found.events if event.words.startswith("lot")]
    assert [event.changes for event in told] == [False] * 6
    assert all(event.detail.endswith(", 5 % of the tank") for event in told)


@pytest.mark.parametrize(
    ("of", "product", "changes"),
    [(0.24, "", False), (0.25, "", True), (0.9, "", True), (0.05, "Another foam", True)],
)
def test_much_of_another_batch_or_a_little_of_another_product_may_make_a_step(
    scene: Scene, of: float, product: str, changes: bool
) -> None:
    years(scene, 3.2, 3.3, first=2019)
    topped_up(scene, date(2019, 9, 1), of=of, product=product)
    found = series(scene.owner, scene.proportioner.key, NOW)
    assert [event.changes for event in found.events] == [changes]


def test_what_is_repaired_or_topped_up_on_the_day_of_a_test_lies_after_its_result(
    scene: Scene,
) -> None:
    years(scene, 3.42, 3.41, 3.33, 3.32, 3.21, 3.12, 2.95, first=2019)
    Happening.objects.create(
        by=scene.owner, site=scene.site, system=scene.system, kind="repair",
        happened_on=date(2025, 6, 1), words="orifice renewed",
    )  # fmt: skip
    assert "Nothing was measured since repair (1 Jun 2025)." in text(scene)
    topped_up(scene, date(2025, 6, 1), of=0.5)
    assert "Nothing was measured since lot" in text(scene)


def test_a_filled_tank_was_there_before_the_test_of_the_same_day(scene: Scene) -> None:
    years(scene, 3.2, 3.2, 3.6, first=2019)
    TankFillFactory(tank=scene.tank, moved_on=date(2021, 6, 1))
    assert "(2 before, 1 after" in text(scene)


def test_another_nominal_percent_begins_anew(scene: Scene) -> None:
    years(scene, 3.3, purpose="acceptance")
    years(scene, 3.1, 3.15, 3.12, 3.2, first=2011)
    six = {"nominal_percent": Decimal(6), "band_lower": Decimal(6), "band_upper": Decimal(7)}
    years(scene, 6.1, 6.15, 6.2, 6.25, first=2015, **six)
    told = text(scene)
    assert "At 6 % nominal (1 Jun 2015): a step up" in told
    assert "rising since 1 Jun 2010" not in told
    assert "4 results since 1 Jun 2015" in told
    assert "the acceptance test" not in told  # it proved the other percent


def test_too_few_around_an_event_is_said(scene: Scene) -> None:
    years(scene, 3.2, 3.2, 3.6, first=2018)
    TankFillFactory(tank=scene.tank, moved_on=date(2019, 9, 1))
    assert "too few results to tell a step from scatter (2 before, 1 after" in text(scene)


def test_another_way_of_reading_is_an_event_and_a_correction_is_none(scene: Scene) -> None:
    years(scene, 3.21, 3.22)
    meter = InstrumentFactory(
        organisation=scene.contractor.organisation, method="conductivity", unit="µS/cm"
    )
    years(scene, 3.4, first=2012, instrument=meter)
    assert "At read by conductivity (1 Jun 2012)" in text(scene)
    found = series(scene.owner, scene.proportioner.key, NOW)
    assert [event.changes for event in found.events] == [True]


def test_an_acceptance_test_is_what_the_latest_is_compared_with(scene: Scene) -> None:
    years(scene, 3.3, purpose="acceptance")
    assert "the acceptance test" not in text(scene)
    years(scene, 3.6, first=2011)
    assert "The latest result lies 0.30 points (9 %) above the acceptance test." in text(scene)


def test_a_result_outside_the_band_has_no_date_left(scene: Scene) -> None:
    years(scene, 3.5, 3.6, 3.7, 3.8, 3.85, 3.95)
    assert "The latest result is rich: there is no date to forecast." in text(scene)


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.254, "+0.25"), (-0.0432, "\u22120.043"), (0.0004, "0"), (0.0, "0"), (-1.5, "\u22121.50")],
)
def test_small_figures_keep_two_digits(value: float, shown: str) -> None:
    assert signed(value) == shown


def test_page_says_it_under_the_plot(client: Client, scene: Scene, sign_in: Any) -> None:
    years(scene, 3.80, 3.71, 3.66, 3.55, 3.48, 3.41, 3.29)
    page = sign_in(client, scene.authority).get(reverse("trend", args=[scene.proportioner.key]))
    shown = page.content.decode()
    assert "What the years say" in shown
    for sentence in said(scene).sentences:
        assert sentence in shown
