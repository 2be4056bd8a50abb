"""Who oversees a site and who is engaged there."""

from datetime import date
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
    actor_of,
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


def test_naming_is_taken_back_by_the_owner_on_its_day_and_later_by_the_authority_alone(
    client: Client, sign_in: Any, scene: Scene
) -> None:
    site = SiteFactory(owner=scene.owner.organisation)
    office = actor_of(OrganisationFactory(kind="authority", name="Water office"))
    chosen = {"organisation": office.organisation.pk, "scope": "environment"}
    url, there = f"/sites/{site.key}/authorities/new/", f"/sites/{site.key}/"
    sign_in(client, scene.owner).post(url, chosen)
    first = SiteAuthority.objects.get(site=site)
    assert sign_in(client, office).get(there).status_code == 200
    page = sign_in(client, scene.owner)
    assert "Take this naming back" in page.get(there).content.decode()
    page.post(f"/authorities/{first.key}/take-back/")
    assert "Water office does not see this site" in page.get(there).content.decode()
    assert "Water office" not in page.get(there).content.decode()
    assert sign_in(client, office).get(there).status_code == 404
    page = sign_in(client, scene.owner)
    page.post(url, chosen)  # and named again: a slip leaves nothing in the way
    row = SiteAuthority.objects.get(site=site, taken_back_on=None)
    row.named_on = date(2025, 3, 4)
    row.save(by=scene.owner)
    assert "Take this naming back" not in page.get(there).content.decode()
    late = page.post(f"/authorities/{row.key}/take-back/").content.decode()
    assert "Now only Water office can say that it no longer looks after this site." in late
    page = sign_in(client, office)
    early = page.post(f"/authorities/{row.key}/end/", {"ended_on": "2025-03-03"})
    assert "The last day is before the day it was named." in early.content.decode()
    page.post(f"/authorities/{row.key}/end/", {"ended_on": "2999-12-31"})
    assert "last day 31 Dec 2999" in page.get(there).content.decode()
    page.post(f"/authorities/{row.key}/go-on/")
    assert "31 Dec 2999" not in page.get(there).content.decode()
    answer = page.post(f"/authorities/{row.key}/end/", {"ended_on": "2025-12-31"})
    assert answer["Location"] == "/sites/"  # the site is no longer the authority's to see
    assert page.get(there).status_code == 404
    assert "ended 31 Dec 2025" in sign_in(client, scene.owner).get(there).content.decode()


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
    assert "already engaged here from 1 Jan 2020" in twice.content.decode()
    wrong = page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2019-01-01"})
    assert "The last day is before the first day." in wrong.content.decode()
    page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2021-12-31"})
    assert "to 31 Dec 2021" in page.get(url).content.decode()
    assert sign_in(client, scene.contractor).get(url).status_code == 404
    sign_in(client, scene.owner).post(f"/engagements/{grant.key}/go-on/")
    assert sign_in(client, scene.contractor).get(url).status_code == 200
