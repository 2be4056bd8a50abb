"""An owner invites a contractor that is not here yet, and the sites wait for it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from itm.accounts import inviting
from itm.accounts.models import Invitation, Organisation
from itm.actions.invite_contractor import invite_contractor
from itm.actions.join import join
from itm.core.errors import Forbidden, Refused
from itm.core.history import Change
from itm.registry.models import FoamSystem, Grant, PromisedGrant, Site
from tests.factories import (
    FoamSystemFactory,
    MembershipFactory,
    OrganisationFactory,
    SiteFactory,
    actor_of,
)
from tests.letters import last_link

pytestmark = pytest.mark.django_db

WORDS = "three parts in a hundred"
NAME = "Bay Foam Testing"


@pytest.fixture
def owner():
    return actor_of(OrganisationFactory(), today=timezone.now().date())


@pytest.fixture
def sites(owner):
    return [SiteFactory(owner=owner.organisation) for _ in range(3)]


def invite(owner, sites, **values):
    given = {
        "founds": NAME, "email": "boss@example.org", "starts_on": owner.today, "ends_on": None,
        "at": timezone.now(),
    }  # fmt: skip
    return invite_contractor(actor=owner, sites=sites, **given | values)


def come(**values):
    given = {"name": "Rosa Brito", "password": WORDS, "at": timezone.now()}
    return join(token=last_link("join"), **given | values)


def test_contractor_comes_with_its_organisation_and_works_where_it_was_promised(owner, sites):
    for site in sites:
        FoamSystemFactory(site=site)
    last = owner.today + timedelta(days=90)
    row = invite(owner, sites[:2], ends_on=last)
    assert not Organisation.objects.filter(kind="contractor").exists()
    actor = come(founds="Bay Foam Testing Ltd")
    home = actor.organisation
    assert (home.name, home.kind, actor.role) == ("Bay Foam Testing Ltd", "contractor", "manager")
    assert set(Site.objects.visible_to(actor)) == set(sites[:2])
    assert FoamSystem.objects.visible_to(actor).count() == 2
    assert set(Grant.objects.values_list("ends_on", flat=True)) == {last}
    line = Change.objects.filter(model="registry.Grant").last()
    assert line.note == f"promised by {owner.organisation} with the invitation"
    row.refresh_from_db()
    assert (row.organisation, row.member.organisation) == (owner.organisation, home)
    assert "boss@example.org" not in [
        one.user.email for one in owner.organisation.memberships.all()
    ]  # it did not join the owner


def test_nothing_of_the_owner_is_seen_before_the_invitation_is_taken_up(owner, sites):
    invite(owner, sites)
    assert PromisedGrant.objects.count() == 3
    assert not Grant.objects.exists()


def test_what_is_over_by_then_is_not_kept(owner, sites):
    retired, foreign, kept = sites
    invite(owner, sites)
    retired.retired_on = owner.today
    retired.save(by=owner)
    foreign.owner = OrganisationFactory()
    foreign.save(by=owner)
    actor = come()
    assert [grant.site for grant in actor.organisation.grants.all()] == [kept]


def test_period_that_passed_meanwhile_engages_nobody(owner, sites):
    row = invite(owner, sites, ends_on=owner.today + timedelta(days=1))
    actor = come(at=row.made_at + timedelta(days=2))
    assert not actor.organisation.grants.exists()


def test_known_person_brings_its_own_company(owner, sites):
    elsewhere = MembershipFactory(user__email="boss@example.org")
    invite(owner, sites)
    actor = come()
    assert actor.user == elsewhere.user
    assert actor.user.memberships.count() == 2


@pytest.mark.parametrize(
    ("values", "code", "place"),
    [
        ({"sites": []}, "no_sites", "sites"),
        ({"founds": "Here Already"}, "contractor_is_here", "founds"),
        ({"email": "no address"}, "not_valid", "email"),
    ],
)
def test_what_is_wrong_is_refused_and_nothing_is_left(owner, sites, values, code, place):
    OrganisationFactory(kind="contractor", name="here already")
    with pytest.raises(Refused) as refusal:
        invite(owner, **{"sites": sites} | values)
    assert (refusal.value.code, refusal.value.place) == (code, place)
    assert not Invitation.objects.exists()


def test_days_that_cannot_be_are_refused(owner, sites):
    day = timedelta(days=1)
    for starts, ends in ((owner.today, owner.today - day), (owner.today + 3 * day, owner.today)):
        with pytest.raises(Refused):
            invite(owner, sites, starts_on=starts, ends_on=ends)
    assert not Invitation.objects.exists()


def test_name_taken_meanwhile_is_asked_for_again(owner, sites):
    invite(owner, sites)
    OrganisationFactory(kind="contractor", name=NAME)
    with pytest.raises(Refused) as refusal:
        come()
    assert refusal.value.place == "founds"
    assert come(founds="Bay Foam Testing of the North").organisation.grants.count() == 3


def test_only_a_manager_of_an_owner_invites_and_only_to_own_sites(owner, sites):
    member = actor_of(owner.organisation, role="member", today=owner.today)
    others = [
        actor_of(OrganisationFactory(kind=kind), today=owner.today)
        for kind in ("contractor", "authority", "owner")
    ]
    for actor in (member, *others):
        with pytest.raises(Forbidden):
            invite(actor, sites)
    assert not Invitation.objects.exists()


def test_withdrawn_invitation_brings_nobody(owner, sites):
    row = invite(owner, sites)
    last_link("join")
    inviting.withdraw(actor=owner, row=row, at=timezone.now())
    with pytest.raises(Refused, match="withdrawn"):
        come()
    assert not Organisation.objects.filter(name=NAME).exists()
