"""A contractor whose engagement is over keeps reading what it handed in itself, no more."""

from datetime import timedelta

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests import deeds
from tests.factories import GrantFactory, OrganisationFactory, actor_of


def test_contractor_reads_its_own_records_after_its_time(scene, sign_in):
    own = deeds.tested(scene)
    grant = scene.site.grants.get()
    grant.ends_on = timezone.now().date() - timedelta(days=1)
    grant.save(by=scene.owner)
    page = sign_in(Client(), scene.contractor)
    for name in ("test", "report"):
        assert page.get(reverse(name, args=[own.key])).status_code == 200, name
    assert page.get(reverse("report_pdf", args=[own.key])).status_code in (200, 202)
    assert page.get(reverse("visit", args=[own.visit.key])).status_code == 200
    assert own.site.name in page.get(reverse("records")).content.decode()
    for name, key in (("site", scene.site.key), ("system", scene.system.key),
                      ("tank", scene.tank.key)):  # fmt: skip
        assert page.get(reverse(name, args=[key])).status_code == 404, name
    assert page.post(reverse("sign", args=[own.key]), {"name": "N"}).status_code in (302, 403)


def test_the_one_who_follows_does_not_sign_it_and_a_stranger_sees_nothing(scene, sign_in):
    own = deeds.tested(scene, until="handed_in")
    follows = actor_of(OrganisationFactory(kind="contractor"))
    GrantFactory(site=scene.site, organisation=follows.organisation)
    assert sign_in(Client(), follows).get(reverse("sign", args=[own.key])).status_code in (403, 404)
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    assert sign_in(Client(), stranger).get(reverse("test", args=[own.key])).status_code == 404
