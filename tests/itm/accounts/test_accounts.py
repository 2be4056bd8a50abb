"""People, memberships and signing in."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from itm.accounts.actor import open_memberships
from itm.accounts.models import Membership, Organisation, User
from tests.factories import (
    PASSWORD,
    TODAY,
    MembershipFactory,
    OrganisationFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db


def test_an_address_belongs_to_one_person_whatever_its_capitals():
    UserFactory(email="ann@example.org")
    with pytest.raises(IntegrityError), transaction.atomic():
        UserFactory(email="Ann@Example.org")
    assert User.objects.get_by_natural_key("ANN@example.org").email == "ann@example.org"


@pytest.mark.parametrize("probability", [0.49, 1.0, -1])
def test_the_decision_rule_of_an_authority_is_a_probability_that_can_settle(probability):
    with pytest.raises(IntegrityError), transaction.atomic():
        OrganisationFactory(kind=Organisation.Kind.AUTHORITY, verdict_probability=probability)


def test_a_membership_ends_on_its_day():
    membership = MembershipFactory(ended_on=TODAY)
    assert open_memberships(membership.user, TODAY) == []
    assert open_memberships(membership.user, date(2026, 6, 14)) == [membership]


def test_signing_in_by_address_and_password(client):
    user = MembershipFactory().user
    page = client.get(reverse("sign_in"))
    assert page.status_code == 200
    wrong = client.post(reverse("sign_in"), {"username": user.email, "password": "wrong"})
    assert "do not belong together" in wrong.content.decode()
    assert user.email in wrong.content.decode()  # nothing typed is lost
    right = client.post(reverse("sign_in"), {"username": user.email.upper(), "password": PASSWORD})
    assert right.status_code == 302
    assert right["Location"] == reverse("home")


def test_a_person_without_an_organisation_is_told_so(client):
    client.force_login(UserFactory())
    answer = client.get(reverse("choose_membership"))
    assert answer.status_code == 403
    assert "belong to no organisation" in answer.content.decode()


def test_a_person_of_two_organisations_chooses_for_whom_to_act(client):
    first = MembershipFactory()
    second = MembershipFactory(user=first.user, role=Membership.Role.MEMBER)
    stranger = MembershipFactory()
    client.force_login(first.user)
    assert second.organisation.name in client.get(reverse("choose_membership")).content.decode()
    answer = client.post(reverse("choose_membership"), {"membership": str(stranger.key)})
    assert answer.status_code == 404
    answer = client.post(reverse("choose_membership"), {"membership": str(second.key)})
    assert answer.status_code == 302
    assert client.session["membership"] == str(second.key)


def test_the_server_says_that_it_is_ready(client):
    assert client.get("/healthz").json() == {"process": "up"}
    ready = client.get("/readyz")
    assert ready.status_code == 200
    assert ready.json()["guards_missing"] == 0
