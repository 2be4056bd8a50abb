"""Who oversees a site and who is engaged there."""

from typing import Any

from django.test import Client

from itm.registry.models import (
    Grant,
    SiteAuthority,
)
from tests.conftest import Scene
from tests.factories import (
    OrganisationFactory,
    SiteFactory,
)


def test_owner_names_an_authority_once_for_each_thing_it_looks_after(
    enter: Any, scene: Scene
) -> None:
    page, url = enter("owner"), f"/sites/{scene.site.key}/authorities/new/"
    office = OrganisationFactory(kind="authority", name="Water office")
    chosen = {"organisation": office.pk, "scope": "environment"}
    assert page.post(url, chosen).status_code == 302
    assert SiteAuthority.objects.filter(site=scene.site, organisation=office).count() == 1
    again = page.post(url, chosen)
    assert "already looks after environment here" in again.content.decode()
    contractor = OrganisationFactory(kind="contractor")
    wrong = page.post(url, {"organisation": contractor.pk, "scope": "fire"})
    assert "Select a valid choice" in wrong.content.decode()


def test_engagement_opens_a_site_and_its_last_day_closes_it(
    enter: Any, client: Client, sign_in: Any, scene: Scene
) -> None:
    page, site = enter("owner"), SiteFactory(owner=scene.owner.organisation)
    url = f"/sites/{site.key}/"
    assert sign_in(client, scene.contractor).get(url).status_code == 404
    page = sign_in(client, scene.owner)
    who = scene.contractor.organisation.pk
    page.post(f"{url}engagements/new/", {"organisation": who, "starts_on": "2020-01-01"})
    grant = Grant.objects.get(site=site)
    assert sign_in(client, scene.contractor).get(url).status_code == 200
    page = sign_in(client, scene.owner)
    twice = page.post(f"{url}engagements/new/", {"organisation": who, "starts_on": "2021-01-01"})
    assert "already engaged here from 2020-01-01" in twice.content.decode()
    wrong = page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2019-01-01"})
    assert "The last day is before the first day." in wrong.content.decode()
    page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2021-12-31"})
    assert "to 31 Dec 2021" in page.get(url).content.decode()
    assert sign_in(client, scene.contractor).get(url).status_code == 404
    sign_in(client, scene.owner).post(f"/engagements/{grant.key}/go-on/")
    assert sign_in(client, scene.contractor).get(url).status_code == 200
