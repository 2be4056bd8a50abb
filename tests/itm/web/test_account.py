"""One's own account: in which units one reads, on the pages and in the forms."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from itm.accounts.models import User
from itm.core.models import Change
from itm.registry.models import FoamSystem
from tests.deeds import discharged, prepared, tested


@pytest.fixture
def american(scene, sign_in):
    def enter(actor):
        client = sign_in(Client(), actor)
        answer = client.post(reverse("account"), {"measures": "us"}, follow=True)
        assert "Saved: the units" in answer.content.decode()
        return client

    return enter


def text_of(client, name, *keys) -> str:
    return re.sub(r"<[^>]+>", "", client.get(reverse(name, args=keys)).content.decode())


def test_the_choice_is_the_persons_own_and_has_its_history(scene, american):
    client = american(scene.owner)
    assert User.objects.get(pk=scene.owner.user.pk).measures == "us"
    assert User.objects.get(pk=scene.contractor.user.pk).measures == "si"
    change = Change.objects.filter(model="accounts.User", verb="chose units").get()
    assert (change.before, change.after) == ({"measures": "si"}, {"measures": "us"})
    page = client.get(reverse("account")).content.decode()
    assert re.search(r'value="us"[^>]* checked', page)
    answer = client.post(reverse("account"), {"measures": "cubits"})
    assert answer.status_code == 422
    assert "cubits is not one of the available choices" in answer.content.decode()
    assert User.objects.get(pk=scene.owner.user.pk).measures == "us"


def test_pages_of_the_registry_show_the_readers_units_and_what_was_typed(scene, american):
    """1 US gpm = 3.785411784 L/min exactly (NIST SP 811, B.8)."""
    client = american(scene.owner)
    litres = float(scene.system.design_flow_typed.split()[0])
    shown = f"{litres / 3.785411784:.4g} US gpm (typed {scene.system.design_flow_typed})"
    assert shown in text_of(client, "system", scene.system.key).replace("\u2009", "")
    assert shown in text_of(client, "systems").replace("\u2009", "")
    for page in ("site", "tank", "proportioner"):
        thing = getattr(scene, page)
        assert "US g" in text_of(client, page, thing.key)
    assert re.search(r"[\d.\u2009]+ US gal", text_of(client, "pfas_inventory"))
    assert "US gal" in text_of(client, "tanks")


def test_the_book_of_a_tank_is_in_the_readers_units(scene, american):
    page = text_of(american(scene.owner), "tank", scene.tank.key)
    typed = scene.tank.movements.first().volume_typed
    assert f"(typed {typed})" in page
    book = page.split("In and out")[1]
    assert "US gal" in book


def test_the_test_day_shows_both_and_its_entries_begin_with_the_readers_unit(scene, american):
    day = discharged(prepared(scene))
    client = american(scene.contractor)
    page = client.get(reverse("discharge", args=[day.test.key])).content.decode()
    run = day.test.runs.select_related("flow_point").first()
    assert f"US gpm (typed {run.flow_point.flow_typed})" in page
    # What was entered stands in its entry as it was typed; an empty one begins with the reader's.
    assert re.search(r'name="inlet_pressure" value="7\.5"', page)
    assert '<option value="bar" selected>' in page
    assert '<option value="US gal" selected>' in page


def test_a_record_and_its_report_show_flows_in_the_readers_units(scene, american):
    """The file that is kept stays as it was typed (`test_reports.py`)."""
    test = tested(scene)
    client = american(scene.owner)
    assert "US gpm (typed" in text_of(client, "test", test.key)
    assert "US gpm (typed" in text_of(client, "report", test.key)


def test_an_empty_form_begins_with_the_readers_unit_and_keeps_what_was_typed(scene, american):
    client = american(scene.owner)
    empty = client.get(reverse("system_new", args=[scene.site.key])).content.decode()
    assert empty.count('<option value="US gpm" selected>') == 2
    full = client.get(reverse("system_edit", args=[scene.system.key])).content.decode()
    assert '<option value="L/min" selected>' in full
    row = FoamSystem.objects.get(pk=scene.system.pk)
    assert row.design_flow_typed == scene.system.design_flow_typed


def test_the_choice_of_one_request_does_not_reach_the_next(scene, american, sign_in):
    american(scene.owner).get(reverse("systems"))
    other = sign_in(Client(), scene.contractor)
    assert "US gpm" not in text_of(other, "systems")
