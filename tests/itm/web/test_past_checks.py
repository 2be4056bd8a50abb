"""Past concentrate checks on pages: always marked as brought in, never as checks of ours."""

from datetime import date
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from itm.records import past
from itm.trends.tanks import statements, tank_series
from tests.checks import checked, lot_of
from tests.factories import ConcentrateLotFactory, OrganisationFactory, TankFactory, actor_of
from tests.factories_past import PastCheckLineFactory


@pytest.fixture
def owner(scene, sign_in):
    return sign_in(Client(), scene.owner)


def index_line(scene, value: str = "1.3702", **more):
    given = {
        "tank": scene.tank, "name": "refractive_index", "value": Decimal(value),
        "value_typed": value.replace(".", ","), "temperature_c": Decimal(20),
        "temperature_typed": "20,0", **more,
    }  # fmt: skip
    return PastCheckLineFactory(**given)


def test_papers_stand_in_the_history_of_the_tank_marked_as_reported(scene, owner):
    index_line(scene, outcome="within limits", lower_typed="1,3690", lower_limit=Decimal("1.369"))
    PastCheckLineFactory(
        tank=scene.tank, name="", value=None, value_typed="", point="", outcome="fit for use"
    )
    page = owner.get(reverse("tank_history", args=[scene.tank.key])).content.decode()
    assert "Refractive index nD, bottom, as older papers report" in page
    assert "Not computed or sealed here" in page
    assert "1,3702" in page
    assert "at least 1,3690" in page
    assert "fit for use" in page
    assert "What the years say" not in page  # of papers alone nothing is said
    assert "No sealed check yet" not in page


def test_papers_join_no_series_and_move_no_trend(scene, owner):
    checked(scene, on=date(2024, 6, 15))
    before = statements(tank_series(scene.owner, scene.tank))
    for year in range(2004, 2014):
        index_line(scene, f"1.36{year - 2000:02d}", sampled_on=date(year, 6, 15))
    found = tank_series(scene.owner, scene.tank)
    assert [said for said in statements(found) if said] == before
    assert (found.count, found.papers) == (1, 10)
    assert not any(one.reported for one in found.series if one.points and one.point == "top")


def test_what_was_read_elsewhere_than_at_20_degrees_is_in_the_table_and_not_drawn(scene):
    index_line(scene)
    index_line(scene, sampled_on=date(2015, 6, 15), temperature_c=None, temperature_typed="")
    index_line(scene, sampled_on=date(2016, 6, 15), temperature_c=Decimal(25))
    [series] = tank_series(scene.owner, scene.tank).series
    assert len(series.reported) == 3
    assert series.drawn == ((date(2014, 6, 15), 1.3702),)


def test_the_table_to_take_along_holds_them_with_what_they_are(scene, owner):
    index_line(scene, laboratory="Invented institute", paper="L-44")
    rows = owner.get(reverse("tank_history_csv", args=[scene.tank.key])).content.decode()
    assert "as an older paper reports" in rows
    assert "Invented institute, L-44" in rows


def test_a_lot_shows_papers_that_name_it_and_none_of_another_owner(scene, owner, sign_in):
    lot = lot_of(scene)
    index_line(scene, lot=lot.batch)
    elsewhere = actor_of(OrganisationFactory(kind="owner"))
    theirs = ConcentrateLotFactory(owner=elsewhere.organisation, batch=lot.batch)
    page = owner.get(reverse("lot_history", args=[lot.key])).content.decode()
    assert f"{scene.tank.tag}, bottom" in page
    assert "1,3702" in page
    assert not past.of_lot(scene.authority, theirs)


def test_list_and_page_say_what_it_is_and_the_rest_of_that_day(scene, client, sign_in):
    line = index_line(scene)
    PastCheckLineFactory(tank=scene.tank)
    index_line(scene, tank=TankFactory(site=scene.site, tag="OTHER-1"))
    authority = sign_in(client, scene.authority)
    listed = authority.get(f"{reverse('past_checks')}?of={scene.tank.key}").content.decode()
    assert "15 Jun 2014" in listed
    assert "OTHER-1" not in listed
    page = authority.get(reverse("past_check", args=[line.key])).content.decode()
    assert "Nothing was computed or sealed here" in page
    assert "What else papers report of that day" in page
    assert "Brought in" in page
    assert "Withdraw" not in page


def test_lists_of_papers_begin_with_the_newest_and_turn_where_asked(scene, owner):
    for year in (2012, 2016, 2014):
        index_line(scene, sampled_on=date(year, 6, 15))
    for order, years in (("", [2016, 2014, 2012]), ("?sort=sampled_on", [2012, 2014, 2016])):
        page = owner.get(f"{reverse('past_checks')}{order}").content.decode()
        places = [page.index(f"15 Jun {year}") for year in years]
        assert places == sorted(places)


def test_a_line_is_withdrawn_with_a_reason(scene, owner):
    line = index_line(scene)
    there = reverse("past_check_withdraw", args=[line.key])
    assert owner.post(there, {"reason": " "}).status_code == 422
    page = owner.post(there, {"reason": "another tank"}, follow=True).content.decode()
    assert "another tank" in page
    assert not past.check_lines(scene.owner).exists()


def test_the_page_of_a_tank_leads_to_them(scene, owner):
    page = owner.get(reverse("tank", args=[scene.tank.key])).content.decode()
    assert f"{reverse('past_checks')}?of={scene.tank.key}" in page
