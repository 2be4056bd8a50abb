"""Pages of what came out and where it went."""

from django.urls import reverse

from itm.records.models import EffluentLine
from tests.deeds import discharged, prepared
from tests.factories import TODAY


def text(answer) -> str:
    return answer.content.decode()


def given(**values) -> dict:
    return {"happened_on": str(TODAY), "volume": "900", "volume_unit": "L", "pfas": "contains",
            **values}  # fmt: skip


def test_a_crew_notes_what_came_out_and_the_visit_says_what_is_missing(enter, scene):
    day = prepared(scene, on=TODAY)
    discharged(day)
    visit, client = day.test.visit, enter("contractor")
    page = f"{reverse('effluent_new', args=[scene.site.key, 'discharged'])}?visit={visit.key}"
    assert "By flow and time of 2 runs at least" in text(client.get(page))
    answer = client.post(page, given(percent="3"), follow=True)
    assert "900 L of what was discharged is noted neither" in text(answer)
    assert answer.redirect_chain[-1][0] == reverse("visit", args=[visit.key])
    line = EffluentLine.objects.get()
    assert (line.volume, line.volume_typed, line.visit) == (0.9, "900 L", visit)
    assert "Put right" in text(enter("owner").get(reverse("visit", args=[visit.key])))
    assert "Put right" not in text(enter("authority").get(reverse("visit", args=[visit.key])))


def test_an_unfinished_line_comes_back_with_what_was_typed(enter, scene):
    client = enter("owner")
    page = reverse("effluent_new", args=[scene.site.key, "hauled"])
    answer = client.post(page, given(volume="1,900", place="A plant", paper=""))
    assert answer.status_code == 422
    assert "can be read in two ways" in text(answer)
    assert 'value="A plant"' in text(answer)
    assert not EffluentLine.objects.exists()


def test_lines_are_put_right_withdrawn_and_taken_along(enter, scene):
    client = enter("owner")
    site = reverse("site_effluent", args=[scene.site.key])
    assert "Nothing is noted yet" in text(client.get(site))
    client.post(reverse("effluent_new", args=[scene.site.key, "discharged"]), given())
    line = EffluentLine.objects.get()
    page = reverse("effluent_correct", args=[line.key])
    client.post(page, given(volume="950", because="read again"))
    right = EffluentLine.objects.in_force().get()
    assert (right.volume_typed, right.replaces) == ("950 L", line)
    shown = text(client.get(site))
    assert "Withdrawn: read again" in shown
    assert "950 L of what was discharged" in shown
    table = text(client.get(reverse("effluent_csv", args=[scene.site.key])))
    assert "withdrawn: read again" in table
    assert ",950" in table.replace('"', "")
    client.post(reverse("effluent_withdraw", args=[right.key]), {"because": "no discharge"})
    assert not EffluentLine.objects.in_force().exists()
