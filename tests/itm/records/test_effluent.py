"""What came out, was caught, got away and was hauled off. Sums by arithmetic; that amounts and
waste papers are kept is common practice, no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.quantities import Quantity
from itm.records import effluent
from itm.records.effluent import Balance, Kind
from itm.records.models import EffluentLine
from tests.deeds import discharged, prepared
from tests.factories import TODAY, OrganisationFactory, actor_of
from tests.itm.trends.kept import BY

AT = datetime(2026, 6, 15, 18, tzinfo=UTC)
LITRE = "0 L"


def litres(number: float) -> Quantity:
    return Quantity(number / 1000, f"{number:g} L")


def noted(scene, kind, number, *, who="contractor", visit=None, **more):
    more = {"place": "bund", **more} if kind != "discharged" else more
    if kind == "hauled":
        more = {"hauler": "A hauler", "paper": "W-1", **more}
    return effluent.note(
        actor=getattr(scene, who), site=scene.site, visit=visit, today=TODAY, kind=kind,
        **{"happened_on": TODAY, "volume": litres(number), **more},
    )  # fmt: skip


def refused(code, deed):
    with pytest.raises(Refused) as refusal:
        deed()
    assert refusal.value.code == code


@pytest.fixture
def visit(scene):
    return prepared(scene, on=TODAY).test.visit


def test_the_difference_is_said_and_goes_when_everything_is_noted(scene, visit):
    noted(scene, "discharged", 4000, visit=visit)
    noted(scene, "collected", 3500, visit=visit)
    found = effluent.balance(effluent.lines_of(scene.contractor, visit))
    assert (found.unaccounted, found.on_site) == (pytest.approx(0.5), pytest.approx(3.5))
    first, second = found.differences(LITRE)
    assert first.startswith("500 L of what was discharged is noted neither")
    assert second.startswith("3\u2009500 L that was collected is not noted as hauled")
    noted(scene, "released", 500, visit=visit, place="gravel")
    noted(scene, "hauled", 3500, visit=visit)
    assert effluent.balance(effluent.lines_of(scene.contractor, visit)).differences(LITRE) == []


def test_more_caught_than_came_out_is_said_and_not_hidden(scene, visit):
    noted(scene, "discharged", 1000, visit=visit)
    noted(scene, "collected", 1200, visit=visit)
    noted(scene, "hauled", 1300, visit=visit)
    said = effluent.balance(effluent.lines_of(scene.contractor, visit)).differences(LITRE)
    assert said[0].startswith("200 L more was collected or got away than was discharged")
    assert said[1].startswith("100 L more was hauled away than was collected")


amounts = st.lists(
    st.tuples(st.sampled_from(Kind.values), st.integers(1, 10**7), st.booleans()), max_size=12
)


@given(amounts)
def test_every_litre_that_counts_is_in_exactly_one_sum(rows):
    """Whole millilitres, so that the sums can be held against integers."""
    lines = [
        EffluentLine(kind=kind, volume=number / 1e6, withdrawn_at=AT if gone else None)
        for kind, number, gone in rows
    ]
    found = effluent.balance(lines)
    for kind in Kind.values:
        expected = sum(number for name, number, gone in rows if name == kind and not gone)
        assert getattr(found, kind) == pytest.approx(expected / 1e6, rel=1e-12, abs=1e-12)


def test_rounding_between_units_is_no_difference():
    gallons = 1000 * 0.003785411784
    assert Balance(discharged=gallons, collected=3.78541, hauled=3.78541).differences(LITRE) == []


def test_what_the_runs_say_is_flow_by_time_and_only_the_least(scene):
    """Foam is seen, samples follow; by hand from the stamps and the flow that were typed."""
    day = prepared(scene, on=TODAY)
    discharged(day)
    expected, runs = 0.0, 0
    for run in day.test.runs.all():
        last = run.bottles.order_by("-taken_at").first().taken_at
        expected += run.solution_flow * (last - run.foam_seen_at).total_seconds()
        runs += 1
    found = effluent.at_least(scene.contractor, day.test.visit)
    assert (found.volume, found.runs) == (pytest.approx(expected), runs)
    assert found.volume > 0


def test_nothing_is_noted_ahead_of_its_day_or_before_the_test_day(scene, visit):
    tomorrow, before = TODAY + timedelta(days=1), TODAY - timedelta(days=1)
    refused("day_ahead", lambda: noted(scene, "discharged", 1, happened_on=tomorrow))
    refused("before_visit", lambda: noted(scene, "discharged", 1, visit=visit, happened_on=before))
    visit.started_at = None
    refused("not_started", lambda: noted(scene, "discharged", 1, visit=visit))


@pytest.mark.parametrize(
    ("kind", "wrong", "says"),
    [
        ("collected", {"place": ""}, "Say where it stands"),
        ("hauled", {"paper": ""}, "number of the paper"),
        ("hauled", {"hauler": ""}, "who took it away"),
        ("discharged", {"volume": litres(0)}, "above 0"),
        ("discharged", {"percent": 101}, "100"),
    ],
)
def test_what_a_line_lacks_is_said(scene, kind, wrong, says):
    with pytest.raises(Refused) as refusal:
        noted(scene, kind, 10, **wrong)
    assert says in refusal.value.sentence


def test_who_only_reads_notes_nothing_and_a_stranger_finds_nothing(scene, visit):
    with pytest.raises(Forbidden):
        noted(scene, "discharged", 10, who="authority")
    noted(scene, "discharged", 10, visit=visit)
    assert len(effluent.lines_at(scene.authority, scene.site)) == 1
    assert effluent.lines_at(actor_of(OrganisationFactory()), scene.site) == []


def test_the_crew_notes_a_waste_paper_after_its_engagement_and_keeps_reading_it(scene, visit):
    grant = scene.site.grants.get()
    grant.ends_on = TODAY - timedelta(days=1)
    grant.save(by=BY)
    line = noted(scene, "hauled", 10, visit=visit)
    assert effluent.lines_of(scene.contractor, visit) == [line]
    with pytest.raises(Forbidden):
        noted(scene, "discharged", 10)


def test_a_wrong_line_is_put_right_once_and_stays_to_be_read(scene, visit):
    wrong = noted(scene, "hauled", 3500, visit=visit)
    right = effluent.correct(
        actor=scene.owner, line=wrong, because="read from another paper", today=TODAY, at=AT,
        happened_on=TODAY, volume=litres(350), place="plant", hauler="A hauler", paper="W-2",
    )  # fmt: skip
    lines = effluent.lines_of(scene.owner, visit)
    assert {line.pk for line in lines} == {wrong.pk, right.pk}
    assert effluent.balance(lines).hauled == pytest.approx(0.35)
    assert right.replaces == wrong
    with pytest.raises(Conflict):
        effluent.withdraw(actor=scene.owner, line=wrong, because="again", at=AT)
    refused(
        "because_missing",
        lambda: effluent.withdraw(actor=scene.owner, line=right, because=" ", at=AT),
    )


def test_the_database_itself_changes_and_deletes_no_line(scene):
    line = noted(scene, "discharged", 1000)
    table = EffluentLine._meta.db_table
    for sql in (
        f"UPDATE {table} SET volume = 0.5 WHERE id = %s",
        f"UPDATE {table} SET visit_id = 1 WHERE id = %s",
        f"UPDATE {table} SET percent = 3 WHERE id = %s",
        f"DELETE FROM {table} WHERE id = %s",
    ):
        with (
            pytest.raises(DatabaseError, match="itm:"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(sql, [line.pk])
    effluent.withdraw(actor=scene.owner, line=line, because="a slip", at=AT)
    with (
        pytest.raises(DatabaseError, match="itm:"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE {table} SET withdrawn_by = 'x' WHERE id = %s", [line.pk])


def test_a_free_fill_in_a_tank_that_held_pfas_is_not_free(scene, visit):
    """By the book of the tank; nothing noted is not known."""
    assert effluent.pfas_of(visit, date(2026, 6, 15)) in ("contains", "unknown")


def test_waste_papers_of_a_site_that_is_retired_are_noted_and_put_right(scene, visit):
    noted(scene, "discharged", 4000, visit=visit)
    scene.site.retired_on = TODAY - timedelta(days=1)
    scene.site.save(by=scene.owner)
    for who in ("owner", "contractor"):
        assert effluent.may_note(getattr(scene, who), scene.site)
    assert not effluent.may_note(scene.authority, scene.site)
    with pytest.raises(Refused, match="hauled away afterwards") as refused:
        noted(scene, "released", 400, who="owner")
    assert (refused.value.code, refused.value.place) == ("retired", "happened_on")
    noted(scene, "released", 400, who="owner", happened_on=TODAY - timedelta(days=1))
    noted(scene, "collected", 3600, who="owner")
    hauled = noted(scene, "hauled", 3500, who="owner")
    effluent.correct(
        actor=scene.owner, line=hauled, because="another paper", today=TODAY, at=AT,
        happened_on=TODAY, volume=litres(3600), place="bund", hauler="A hauler", paper="W-2",
    )  # fmt: skip
    found = effluent.balance(effluent.lines_at(scene.owner, scene.site))
    assert (found.unaccounted, found.on_site) == (pytest.approx(0), pytest.approx(0))
