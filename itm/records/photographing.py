"""Photos of a test day: kept at once, shown to others when the record is sealed."""

import uuid
from datetime import datetime
from typing import BinaryIO

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.history import Tracked
from itm.records.drafts import new_key, require_crew
from itm.records.inspecting import require_inspector
from itm.records.models import FlowRun, Photo, ProportioningTest, Reading, RestorationLine, Visit
from itm.registry import attaching
from itm.registry.attaching import Target, Upload
from itm.registry.models import Attachment, Site
from itm.schedule.models import Duty

Shown = Visit | FlowRun | RestorationLine | Reading


@transaction.atomic
def take_photo(
    *, actor: Actor, of: Shown, file: BinaryIO, name: str, taken_at: datetime, at: datetime,
    key: uuid.UUID | None = None,
) -> Photo:  # fmt: skip
    """Keep a photo of a visit, a flow point's run, a restoration line or a reading.

    It may come after the hand-in, because pictures are the last that a weak signal lets through.
    What shows readings and runs stays with the crew until the record is sealed; a valve or the
    place is the owner's to see like the visit. One picture may show two things: the file is kept
    once. Raises Forbidden; Refused key_used and what `registry.files.inspect` refuses.
    """
    visit, target, caption = _shown(of)
    require_crew(actor, visit)
    _require_picture(file)
    own = new_key(Photo, key)
    draft = isinstance(of, FlowRun | Reading) and of.sealed_at is None
    attachment = attaching.attach_or_find(
        actor=actor, site=visit.site, target=target, upload=Upload(file, name), at=at,
        caption=caption[:200], held_back=draft,
    )  # fmt: skip
    on: dict[str, Tracked] = {}
    for model, column in ((FlowRun, "run"), (RestorationLine, "line"), (Reading, "reading")):
        if isinstance(of, model):
            on[column] = of
    return Photo.objects.create(
        by=actor, key=own, visit=visit, attachment=attachment, taken_at=taken_at,
        taken_by=actor.person, **on,
    )  # fmt: skip


@transaction.atomic
def photo_of_task(
    *, actor: Actor, site: Site, visit: Visit | None, duty: Duty, file: BinaryIO, name: str,
    taken_at: datetime, at: datetime,
) -> Attachment:  # fmt: skip
    """Keep what a task of a round wants to be seen, where the page of the round would: at the thing
    itself. The inspection that follows holds its digest. Raises Forbidden, and what
    `registry.files.inspect` refuses."""
    require_inspector(actor, site, visit, min(taken_at, at))
    _require_picture(file)
    return attaching.attach_or_find(
        actor=actor, site=site, target=duty.thing, upload=Upload(file, name), at=at,
        caption=f"{duty.requirement}"[:200], held_back=False,
    )  # fmt: skip


def _require_picture(file: BinaryIO) -> None:
    """Papers are attached on the page of what they belong to."""
    file.seek(0)
    if file.read(5) == b"%PDF-":
        raise Refused("not_a_picture", "A photo is a JPEG, PNG or WebP picture.", "file")
    file.seek(0)


def _shown(of: Shown) -> tuple[Visit, Target, str]:
    """The visit, the thing in the register that the file hangs on, and what it shows in words."""
    if isinstance(of, FlowRun):
        return of.test.visit, of.test.proportioner, f"Flow point {of.flow_point.name}"
    if isinstance(of, RestorationLine):
        return of.visit, of.proportioner, of.text
    if isinstance(of, Reading):
        bottle = of.bottle
        run = bottle.run
        target = run.test.proportioner if run is not None else bottle.bench.tank
        return bottle.bench.visit, target, f"Display at {bottle.label}: {of.value_typed}"
    return of, of.site, "Test day"


def photos_of(test: ProportioningTest) -> list[Photo]:
    """What shows something of this very test: its runs and readings, and the visit's lines that
    were put back for it. For code that holds the test by right."""
    photos = Photo.objects.filter(visit=test.visit_id).select_related(
        "attachment", "run", "line", "reading__bottle__run"
    )
    return [photo for photo in photos if _belongs(photo, test)]


def _belongs(photo: Photo, test: ProportioningTest) -> bool:
    if photo.run is not None:
        return photo.run.test_id == test.pk
    if photo.line is not None:
        return photo.line.proportioner_id == test.proportioner_id
    if photo.reading is not None:
        bottle = photo.reading.bottle
        own = bottle.run is None or bottle.run.test_id == test.pk
        return bottle.bench_id == test.bench_id and own
    return True


def release(*, actor: Actor, test: ProportioningTest) -> None:
    """With the seal the photos of a record are for everybody who may see the site."""
    for photo in photos_of(test):
        attaching.show(actor=actor, row=photo.attachment)
