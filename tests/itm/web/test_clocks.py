"""Notice clocks on their page: adopted at the sites that are ticked, and ended."""

from typing import Any

from django.test import Client
from django.urls import reverse

from itm.findings.models import ClockAdoption, NoticeClock
from tests.factories import SiteFactory


def test_clock_is_adopted_where_it_was_ticked_and_what_is_missing_is_said(
    client: Client, sign_in: Any, scene: Any
) -> None:
    page = sign_in(client, scene.owner)
    other = SiteFactory(owner=scene.owner.organisation, name="A site that is not ticked")
    clock = NoticeClock.objects.order_by("pk")[0]
    there = reverse("clock_adopt", args=[clock.code])
    asked = page.get(there).content.decode()
    assert asked.index(other.name) < asked.index(scene.site.name)  # by name
    assert "Needed where nobody has looked the rule up." in asked
    nothing = page.post(there, {"checked_against": "the edition of 2023"})
    assert nothing.status_code == 422
    assert "Choose at least one site." in nothing.content.decode()
    assert "the edition of 2023" in nothing.content.decode()
    typed = {"sites": [scene.site.key], "checked_against": "the edition of 2023"}
    said = page.post(there, typed, follow=True).content.decode()
    assert "compared with the edition of 2023" in said
    assert [row.site for row in ClockAdoption.objects.all()] == [scene.site]
