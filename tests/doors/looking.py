"""What a phone sends of a round: a task as it was found, and a photo that a task wants."""

import io
from uuid import uuid4

from itm.doors.photos import take_photo
from tests.doors.phone import Phone
from tests.itm.registry.pictures import picture

FOUND = ["level: 95", "valves: yes", "gauges: yes", "gauge_readings: 7,5 bar"]
LOOK = ["places: top", "paper: R-1", "fit: yes"]  # at the tank of `look_duty`


def looked(phone: Phone, visit, task, answers=FOUND, opened=None, **texts):
    put = {"duty": str(task.key), "answers": list(answers), **texts}
    return phone.note("inspect", {"visit": visit.key}, put, opened)


def photo_of(phone: Phone, visit, duty, key=None, data=None, **more):
    of = {"duty": str(duty.key), "visit": str(visit.key)}
    return take_photo(
        actor=phone.actor, key=str(key or uuid4()), of=of, file=io.BytesIO(data or picture()),
        name="IMG_3.png", at=phone.now, taken_at=phone.now.isoformat(), **more,
    )  # fmt: skip
