"""What came in by a device is seen on the pages: photos, and a clock that was off."""

import io
from datetime import timedelta
from uuid import uuid4

from django.urls import reverse

from itm.doors.photos import take_photo
from itm.records.models import Reading, RestorationLine
from itm.registry.models import Attachment
from tests.doors.phone import whole_day
from tests.itm.registry.pictures import picture


def page(client, name, key):
    answer = client.get(reverse(name, args=[key]))
    assert answer.status_code == 200
    return answer.content.decode()


def shoot(phone, **of):
    answer = take_photo(
        actor=phone.actor, key=str(uuid4()), of={n: str(k) for n, k in of.items()},
        file=io.BytesIO(picture()), name="display.png", taken_at=phone.now.isoformat(),
        at=phone.now,
    )  # fmt: skip
    assert answer.taken
    return reverse("attachment_file", args=[Attachment.objects.latest("pk").key])


def test_photos_stand_beside_what_they_show(client, sign_in, scene, draft, phone):
    phone.send(whole_day(phone, draft)[:-1])
    display = shoot(phone, reading=Reading.objects.first().key)
    valve = shoot(phone, line=RestorationLine.objects.first().key)
    crew = sign_in(client, scene.contractor)
    bench = page(crew, "bench", draft.key)
    assert display in bench
    assert valve not in bench
    assert valve in page(crew, "restoring", draft.visit.key)
    assert crew.get(display).status_code == 200
    run, place = draft.runs.first(), draft.visit
    flowing, day = shoot(phone, run=run.key), shoot(phone, visit=place.key)
    discharge = page(crew, "discharge", draft.key)
    card = discharge.split(f'id="run-{run.key}"')[1].split("</section>")[0]
    assert flowing in card
    assert day not in discharge
    assert day in page(crew, "visit", place.key)
    assert flowing not in page(crew, "visit", place.key)
    owner = sign_in(client, scene.owner)
    assert valve in page(owner, "restoring", draft.visit.key)
    assert owner.get(display).status_code == 404


def test_a_wrong_clock_stands_among_the_warnings_of_the_record(
    client, sign_in, scene, draft, phone
):
    phone.now += timedelta(hours=12)  # by the clock of the site it is the same day
    phone.send(whole_day(phone, draft), ahead=timedelta(hours=12))
    shown = page(sign_in(client, scene.contractor), "test", draft.key)
    assert "12 h 00 min ahead of that of the server" in shown
    assert f"a device of {scene.contractor.person}" in shown


def test_a_right_clock_is_not_spoken_of(client, sign_in, scene, draft, phone):
    phone.send(whole_day(phone, draft))
    assert "a device of" not in page(sign_in(client, scene.contractor), "test", draft.key)
