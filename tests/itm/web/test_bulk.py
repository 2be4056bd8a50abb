"""Many sites at once: previewed, all or nothing, in the history."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from itm.actions.adopt import adopt
from itm.core.models import Change
from itm.registry.models import Grant
from itm.schedule.models import Duty, Programme
from itm.schedule.services import start_duties
from tests.factories import (
    FoamSystemFactory,
    GrantFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteFactory,
)

FIRST = "2026-07-01"


def text(answer) -> str:
    return answer.content.decode()


@pytest.fixture
def follows(db):
    return OrganisationFactory(kind="contractor")


@pytest.fixture
def sites(scene):
    """Three sites where the scene's contractor is engaged."""
    more = [SiteFactory(owner=scene.owner.organisation) for _ in range(2)]
    for site in more:
        GrantFactory(site=site, organisation=scene.contractor.organisation)
    return [scene.site, *more]


def wish(scene, follows, **more) -> dict:
    return {"leaves": scene.contractor.organisation.pk, "follows": follows.pk,
            "starts_on": FIRST, **more}  # fmt: skip


# Contractors ------------------------------------------------------------------------------------


def test_reassigning_is_previewed_and_then_done_for_all(enter, scene, sites, follows):
    client, address = enter("owner"), reverse("contractor_reassign")
    changes = Change.objects.count()
    said = text(client.post(address, wish(scene, follows)))
    assert "3 sites" in said
    for site in sites:
        assert site.name in said
    assert (Change.objects.count(), Grant.objects.count()) == (changes, 3)
    client.post(address, wish(scene, follows, sure="yes"))
    ended = Grant.objects.filter(organisation=scene.contractor.organisation)
    assert set(ended.values_list("ends_on", flat=True)) == {date(2026, 6, 30)}
    begun = Grant.objects.filter(organisation=follows)
    assert sorted(begun.values_list("site", flat=True)) == sorted(site.pk for site in sites)
    assert Change.objects.filter(model="registry.Grant", verb="changed").count() == 3


def test_one_site_that_does_not_fit_stops_them_all(enter, scene, sites, follows):
    GrantFactory(site=sites[2], organisation=follows, starts_on=date(2026, 1, 1))
    answer = enter("owner").post(reverse("contractor_reassign"), wish(scene, follows, sure="yes"))
    assert answer.status_code == 422
    assert "is already engaged here" in text(answer)
    assert sites[2].name in text(answer)
    assert not Grant.objects.exclude(ends_on=None).exists()


def test_only_the_sites_ticked_change_hands(enter, scene, sites, follows):
    enter("owner").post(
        reverse("contractor_reassign"), wish(scene, follows, sure="yes", sites=[sites[1].pk])
    )
    assert Grant.objects.get(organisation=follows).site == sites[1]


def test_the_same_contractor_twice_is_refused(enter, scene, sites):
    answer = enter("owner").post(
        reverse("contractor_reassign"), wish(scene, scene.contractor.organisation)
    )
    assert "The two contractors are the same" in text(answer)


def test_a_foreign_site_cannot_be_ticked(enter, scene, sites, follows):
    answer = enter("owner").post(
        reverse("contractor_reassign"), wish(scene, follows, sites=[SiteFactory().pk], sure="yes")
    )
    assert answer.status_code == 422


# Due dates --------------------------------------------------------------------------------------


@pytest.fixture
def duty(scene) -> Duty:
    """Due from 15 May 2026 on, until 15 August; commissioned a year before."""
    scene.system.commissioned_on = date(2025, 5, 15)
    scene.system.save(by=scene.owner)
    scene.proportioner.system = scene.system
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    return Duty.objects.get()


def move(duty, **values) -> dict:
    return {"site": duty.site.pk, "task": "", "how": "to", "to": "2026-07-20",
            "why": "turnaround in July", **values}  # fmt: skip


def test_due_dates_move_inside_their_windows_with_a_reason(enter, duty):
    client, address = enter("owner"), reverse("duties_shift")
    assert "1 duty at 1 site" in text(client.post(address, move(duty)))
    duty.refresh_from_db()
    assert duty.due_on == date(2026, 5, 15)
    client.post(address, move(duty, sure="yes"))
    duty.refresh_from_db()
    assert (duty.due_on, duty.latest_on) == (date(2026, 7, 20), date(2026, 8, 15))
    noted = Change.objects.filter(model="schedule.Duty", verb="shifted").get()
    assert noted.note == "turnaround in July"
    client.post(address, move(duty, how="back", why="", sure="yes"))
    duty.refresh_from_db()
    assert (duty.due_on, duty.shifted_to, duty.shifted_why) == (date(2026, 5, 15), None, "")


def test_one_that_falls_outside_its_window_stops_them_all(enter, scene, duty):
    later = FoamSystemFactory(site=scene.site, commissioned_on=date(2025, 8, 1))
    start_duties(actor=scene.owner, proportioner=ProportionerFactory(system=later, tank=scene.tank))
    answer = enter("owner").post(reverse("duties_shift"), move(duty, to="2026-08-20", sure="yes"))
    assert answer.status_code == 422
    assert "Nothing is moved: 1 would fall outside" in text(answer)
    assert "15 Feb 2026 to 15 Aug 2026" in text(answer)
    assert not Duty.objects.exclude(shifted_to=None).exists()


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"why": ""}, "Say why the due dates move"),
        ({"how": "by", "days": ""}, "Give a number of days"),
        ({"how": "by", "days": "0"}, "Give a number of days"),
        ({"to": ""}, "Give the day"),
        ({"task": "inspection"}, "No open duty fits"),
        ({"how": "sideways"}, "Select a valid choice"),
    ],
)
def test_a_move_without_its_parts_gets_a_sentence(enter, duty, values, sentence):
    answer = enter("owner").post(reverse("duties_shift"), move(duty, **values))
    assert answer.status_code == 422
    assert sentence in text(answer)


def test_days_are_counted_from_each_due_date(enter, duty):
    enter("owner").post(reverse("duties_shift"), move(duty, how="by", days="-30", sure="yes"))
    duty.refresh_from_db()
    assert duty.due_on == date(2026, 5, 15) - timedelta(days=30)


def test_the_database_refuses_a_move_without_a_reason(duty, scene):
    duty.shifted_to = duty.due_on
    with pytest.raises(IntegrityError), transaction.atomic():
        duty.save(by=scene.owner)


# Two hundred sites ------------------------------------------------------------------------------


def test_adopting_for_many_sites_asks_the_database_no_more_often(
    scene, django_assert_max_num_queries
):
    """All sites are read and written together; nothing is asked site by site or thing by thing."""
    for _ in range(9):
        system = FoamSystemFactory(site=SiteFactory(owner=scene.owner.organisation))
        ProportionerFactory(system=system)
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    with django_assert_max_num_queries(50):
        _, made = adopt(actor=scene.owner, programme=programme, starts_on=date(2026, 6, 1))
    assert made.sites == 10
    assert made.begun >= 30
