"""Trends as pages: the plot, the same as a table, and what stands beside the line."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.accounts.models import Organisation
from tests.deeds import tested
from tests.factories import OrganisationFactory, ProportionerFactory, actor_of
from tests.itm.trends.kept import kept, visited


def trend_of(client, device) -> str:
    answer = client.get(reverse("trend", args=[device.key]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_sealed_test_day_is_a_point_in_the_trend(client, scene, sign_in):
    """The readings of the deed are made to 3.2 and 3.4 %; see tests/deeds.py."""
    test = tested(scene, {"minimum": 3.2, "design": 3.4}, on=date(2026, 6, 10))
    text = trend_of(sign_in(client, scene.authority), scene.proportioner)
    for words in ("minimum", "design", "3.20", "3.40", "3.00 to 3.90", "10\u00a0Jun\u00a02026"):
        assert words in text
    assert text.count(reverse("test", args=[test.key])) == 2


def test_plot_and_table_hold_the_same_results(client, scene, sign_in):
    for year, percent in ((2022, 3.21), (2023, 3.32), (2024, 3.43)):
        kept(scene, {"design": percent}, on=date(year, 6, 1))
    text = trend_of(sign_in(client, scene.owner), scene.proportioner)
    assert "Trend of design: 3 results, 2022 to 2024, none outside the acceptance band" in text
    for written in ("3.21", "3.32", "3.43"):
        assert f'<td class="num" data-head="Percent">{written}</td>' in text


def test_the_plot_is_drawn_for_desk_and_phone(client, scene, sign_in):
    kept(scene, {"design": 3.3}, on=date(2024, 6, 1))
    text = trend_of(sign_in(client, scene.owner), scene.proportioner)
    assert 'viewBox="0 0 640 ' in text
    assert 'viewBox="0 0 350 ' in text


def test_as_left_and_corrected_results_are_in_the_table_and_not_in_the_line(client, scene, sign_in):
    visit = visited(scene.contractor, scene.proportioner, date(2024, 6, 1))
    bad = kept(scene, {"design": 2.71}, on=date(2024, 6, 1), visit=visit, limits="lean")
    new = kept(scene, {"design": 2.82}, on=date(2024, 6, 1), visit=visit, limits="lean", amends=bad,
         amendment_reason="misread label")  # fmt: skip
    kept(scene, {"design": 3.33}, on=date(2024, 6, 1), visit=visit, phase="as_left",
         adjusted="orifice renewed")  # fmt: skip
    text = trend_of(sign_in(client, scene.owner), scene.proportioner)
    assert "Trend of design: 1 result" in text
    assert "periodic, as left" in text
    assert "adjusted: orifice renewed" in text
    assert "misread label" in text
    corrected = text[text.index("Corrected since, not in the line") :]
    assert "2.71" in corrected
    assert 'class="aside"' in corrected
    assert f'{reverse("test", args=[new.key])}">see the correction' in corrected


def test_a_missed_year_stands_under_the_plot(client, scene, sign_in):
    tested(scene, on=date(2021, 3, 1))
    text = trend_of(sign_in(client, scene.owner), scene.proportioner)
    assert "639 days late, 2 tests missed" in text  # latest day: 1 June 2019


def test_without_a_result_the_page_says_so(client, scene, sign_in):
    assert "No sealed test yet" in trend_of(sign_in(client, scene.owner), scene.proportioner)


@pytest.mark.parametrize("known", [True, False])
def test_a_foreign_and_a_missing_proportioner_are_not_found_alike(client, scene, sign_in, known):
    stranger = actor_of(OrganisationFactory(kind=Organisation.Kind.CONTRACTOR))
    key = scene.proportioner.key if known else uuid4()
    assert sign_in(client, stranger).get(reverse("trend", args=[key])).status_code == 404


def test_the_list_has_every_proportioner_with_its_latest_result(client, scene, sign_in):
    second = ProportionerFactory(system=scene.system, tank=scene.tank)
    kept(scene, {"design": 3.3}, on=date(2024, 6, 1))
    kept(scene, {"design": 3.41}, on=date(2025, 6, 1))
    text = sign_in(client, scene.owner).get(reverse("trends")).content.decode()
    assert "3.41 %" in text
    assert "3.30 %" not in text
    assert "no result yet" in text
    assert reverse("trend", args=[second.key]) in text
    assert (
        "holds “elsewhere”" in client.get(reverse("trends"), {"site": "elsewhere"}).content.decode()
    )


def test_a_trend_page_of_thirty_years_keeps_to_twelve_queries(client, scene, sign_in):
    sign_in(client, scene.authority)

    def fill(years: range) -> None:
        for year in years:
            kept(scene, {"minimum": 3.1, "design": 3.4}, on=date(year, 6, 1))

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            trend_of(client, scene.proportioner)
        return len(captured)

    fill(range(2023, 2026))
    few = cost()
    fill(range(1993, 2023))
    assert cost() <= few <= 12


def test_the_list_costs_the_same_for_three_rows_and_for_three_hundred(client, scene, sign_in):
    sign_in(client, scene.authority)

    def fill(count: int) -> None:
        for _ in range(count):
            device = ProportionerFactory(system=scene.system, tank=scene.tank)
            kept(scene, {"design": 3.4}, on=date(2025, 6, 1), proportioner=device)

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse("trends")).status_code == 200
        return len(captured)

    fill(3)
    few = cost()
    fill(300)
    assert cost() <= few <= 11
