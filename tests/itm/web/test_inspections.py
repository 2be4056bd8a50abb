"""A round on its page: many tasks at once, nothing typed is lost, pressed twice is one record."""

from datetime import date
from io import BytesIO
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils.html import escape
from PIL import Image

from itm.actions.adopt import adopt
from itm.records.models import Inspection
from itm.registry.models import Attachment
from itm.schedule.models import Duty, Programme
from tests.deeds import inspection_of, look_duty, prepared


@pytest.fixture
def duty(scene) -> Duty:
    """Overdue on every clock after May 2026."""
    adopt(
        actor=scene.owner, programme=Programme.objects.get(code="us-nfpa25-foam-water"),
        starts_on=date(2026, 3, 20), site=scene.site,
    )  # fmt: skip
    return Duty.objects.get(requirement__code="N25-04")


def filled(duty, **values) -> dict[str, str]:
    good = {"level": "95", "valves": "yes", "gauges": "yes", "gauge_readings": "7.5 bar"}
    return {
        "done_on": "2026-05-10", "once": str(uuid4()), "note": "",
        **{f"{duty.pk}-{key}": value for key, value in (good | values).items()},
    }  # fmt: skip


def text(answer) -> str:
    return answer.content.decode()


def test_the_page_lists_what_is_due_with_its_wants_and_its_source(enter, scene, duty):
    said = text(enter("contractor").get(reverse("inspect", args=[scene.site.key])))
    assert escape(duty.requirement.words) in said
    assert escape(duty.requirement.source) in said
    for want in duty.requirement.evidence:
        assert escape(want["label"]) in said
    assert "Caution" in said
    assert "Proportioner operational test" not in said  # its record is the sealed test
    assert "the seal of the test or check does" in said
    assert reverse("tank", args=[scene.tank.key]) in said  # where the check begins


def test_many_tasks_are_recorded_at_once(enter, scene, duty):
    other = look_duty(scene)
    more = {f"{other.pk}-reason": "laboratory is closed"}
    answer = enter("owner").post(
        reverse("inspect", args=[scene.site.key]), {**filled(duty), **more}
    )
    made = Inspection.objects.get()
    assert answer.url == reverse("inspection", args=[made.key])
    assert sorted(made.lines.values_list("outcome", flat=True)) == ["in_order", "not_possible"]
    said = text(enter("authority").get(answer.url))
    assert "laboratory is closed" in said
    again = text(enter("owner").get(reverse("inspect", args=[scene.site.key])))
    assert "laboratory is closed" in again  # beside the task that is still due


def test_what_is_wrong_is_said_for_all_tasks_and_what_was_typed_stays(enter, scene, duty):
    other = look_duty(scene)
    wrong = filled(duty, level="full", gauge_readings="kept words")
    answer = enter("owner").post(
        reverse("inspect", args=[scene.site.key]), {**wrong, f"{other.pk}-places": "top"}
    )
    assert answer.status_code == 422
    for words in ("write one number", "is not answered", "kept words", 'value="full"'):
        assert words in text(answer)
    assert not Inspection.objects.exists()


def test_pressed_twice_is_one_record(enter, scene, duty):
    client, address, data = enter("owner"), reverse("inspect", args=[scene.site.key]), filled(duty)
    assert client.post(address, data).url == client.post(address, data).url
    assert Inspection.objects.count() == 1


def test_what_somebody_else_recorded_meanwhile_is_said(enter, scene, duty):
    address, data = reverse("inspect", args=[scene.site.key]), filled(duty)
    enter("contractor").post(address, {**data, "once": str(uuid4())})
    answer = enter("owner").post(address, data)
    assert answer.status_code == 422
    assert "recorded by somebody else meanwhile" in text(answer)


def test_nothing_entered_is_said(enter, scene, duty):
    answer = enter("owner").post(
        reverse("inspect", args=[scene.site.key]), {"done_on": "2026-05-10", "once": str(uuid4())}
    )
    assert "Nothing is entered yet" in text(answer)


def test_a_round_belongs_to_its_visit(enter, scene, duty):
    visit = prepared(scene).test.visit
    address = f"{reverse('inspect', args=[scene.site.key])}?visit={visit.key}"
    client = enter("contractor")
    assert address in text(client.get(reverse("visit", args=[visit.key])))
    client.post(address, filled(duty))
    assert Inspection.objects.get().visit == visit


def test_a_line_is_corrected_beside_itself(enter, scene):
    made = inspection_of(scene)
    line = made.lines.get()
    address = reverse("inspection_correct", args=[line.key])
    client = enter("contractor")
    assert 'value="top and bottom"' in text(client.get(address))
    data = {"places": "top only", "paper": "R-1", "fit": "no", "once": uuid4()}
    assert client.post(address, data).status_code == 422  # says no why
    answer = client.post(address, {**data, "why": "bottom was dry"})
    said = text(client.get(answer.url))
    assert "bottom was dry" in said
    assert "not in order" in said
    assert "corrected in" in text(client.get(reverse("inspection", args=[made.key])))


def test_a_site_without_programmes_says_so(enter, scene):
    said = text(enter("owner").get(reverse("inspect", args=[scene.site.key])))
    assert "Nothing is to be inspected here today" in said


def test_the_round_asks_the_database_no_more_for_more_tasks(
    enter, scene, duty, django_assert_max_num_queries
):
    client = enter("owner")
    with django_assert_max_num_queries(17):
        client.get(reverse("inspect", args=[scene.site.key]))


# Photos -----------------------------------------------------------------------------------------


def picture(colour: str = "red") -> SimpleUploadedFile:
    out = BytesIO()
    Image.new("RGB", (8, 8), colour).save(out, "PNG")
    return SimpleUploadedFile("drum.png", out.getvalue(), "image/png")


def test_a_photo_is_attached_to_the_thing_and_named_in_the_record(enter, scene, duty):
    data = filled(duty) | {f"{duty.pk}-photo": picture()}
    client = enter("contractor")
    answer = client.post(reverse("inspect", args=[scene.site.key]), data)
    stored = Attachment.objects.get()
    assert stored.proportioner == scene.proportioner
    [shown] = [one for one in Inspection.objects.get().lines.get().answers if one["key"] == "photo"]
    assert (shown["typed"], shown["sha256"]) == ("drum.png", stored.sha256)
    assert reverse("attachment_file", args=[stored.key]) in text(client.get(answer.url))
    refused = client.post(reverse("attachment_withdraw", args=[stored.key]), {"why": "x"})
    assert (refused.status_code, "an answer of an inspection" in text(refused)) == (409, True)
    assert client.get(reverse("attachment_file", args=[stored.key])).status_code == 200


def test_what_only_calls_itself_a_photo_is_refused_at_its_place(enter, scene, duty):
    liar = SimpleUploadedFile("drum.png", b"MZ no picture at all", "image/png")
    answer = enter("owner").post(
        reverse("inspect", args=[scene.site.key]), filled(duty) | {f"{duty.pk}-photo": liar}
    )
    assert answer.status_code == 422
    assert "neither a JPEG" in text(answer)
    assert "Choose the photos again" in text(answer)
    assert not Inspection.objects.exists()
    assert not Attachment.objects.exists()


def test_no_file_is_stored_for_a_round_that_is_refused(enter, scene, duty):
    data = filled(duty, level="full") | {f"{duty.pk}-photo": picture()}
    answer = enter("owner").post(reverse("inspect", args=[scene.site.key]), data)
    assert answer.status_code == 422
    assert not Attachment.objects.exists()
