"""The page that says when an overdue duty is a deficiency."""

import pytest
from django.urls import reverse

from itm.findings.models import Deficiency, OverdueRule
from tests.deeds import look_duty


@pytest.fixture
def row(scene):
    return look_duty(scene).requirement


def page(scene):
    return reverse("overdue_rules", args=[scene.site.key])


def form(scene, row):
    return reverse("overdue_rule_new", args=[scene.site.key, row.pk])


def test_every_row_that_asks_stands_there_with_what_it_is(scene, row, client, sign_in):
    said = sign_in(client, scene.contractor).get(page(scene)).content.decode()
    assert "Look at the tank from outside" in said
    assert "Proportioning test" in said
    assert said.count("no deficiency") >= 3
    assert "Say so" not in said


def test_the_owner_says_so_sees_what_opened_and_ends_it(scene, row, client, sign_in):
    sign_in(client, scene.owner)
    there = page(scene)
    answer = client.post(form(scene, row), {"severity": 2, "because": "fire plan"}, follow=True)
    said = answer.content.decode()
    assert answer.redirect_chain == [(there, 302)]
    assert "Critical deficiency" in said
    assert "fire plan" in said
    found = Deficiency.objects.get(cause="overdue")
    told = client.get(reverse("deficiency", args=[found.key])).content.decode()
    assert "Overdue since 2 Jun 2019" in told
    assert reverse("duty", args=[found.duty.key]) in told
    listed = client.get(reverse("deficiencies") + "?cause=overdue").content.decode()
    assert "Overdue since" in listed
    rule = OverdueRule.objects.get()
    ended = client.post(reverse("overdue_rule_end", args=[rule.key]), follow=True)
    assert "stays until a person ends it" in ended.content.decode()
    assert "Critical deficiency" not in client.get(there).content.decode()


def test_nothing_typed_is_lost_where_the_reason_is_missing(scene, row, client, sign_in):
    answer = sign_in(client, scene.owner).post(form(scene, row), {"severity": 1, "because": ""})
    assert answer.status_code == 422
    assert '<option value="1" selected>' in answer.content.decode()
    assert not OverdueRule.objects.exists()


def test_a_row_that_asks_nothing_there_is_not_found(scene, row, client, sign_in):
    address = reverse("overdue_rule_new", args=[scene.site.key, 999_999])
    assert sign_in(client, scene.owner).get(address).status_code == 404


def test_what_a_row_of_a_programme_says_stands_there_with_its_source(scene, row, client, sign_in):
    row.overdue_class, row.overdue_source = 3, "an invented code, 4.2"
    row.overdue_confidence = "from memory, low"
    row.save()
    sign_in(client, scene.owner)
    for address in (page(scene), reverse("programme", args=[row.programme_id])):
        said = client.get(address).content.decode()
        assert "an invented code, 4.2; from memory, low" in said
    assert "is proposed by the programme" in client.get(page(scene)).content.decode()
    assert "an invented code, 4.2" in client.get(form(scene, row)).content.decode()
