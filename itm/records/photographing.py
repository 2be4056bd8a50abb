"""Photos of a test day and of bottles: kept at once, shown to others once the record is sealed."""

import uuid
from datetime import datetime
from typing import BinaryIO

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden, Refused
from itm.core.history import Tracked
from itm.records import states
from itm.records.drafts import new_key, require_crew
from itm.records.inspecting import require_inspector
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    FlowRun,
    Photo,
    ProportioningTest,
    Reading,
    Record,
    RestorationLine,
    Visit,
)
from itm.registry import attaching
from itm.registry.attaching import Target, Upload
from itm.registry.models import Attachment, Site
from itm.schedule.models import Duty

Shown = Visit | FlowRun | RestorationLine | Reading | ConcentrateSample
COLUMNS: tuple[tuple[type[Tracked], str], ...] = (
    (FlowRun, "run"), (RestorationLine, "line"), (Reading, "reading"),
    (ConcentrateSample, "sample"),
)  # fmt: skip


@transaction.atomic
def take_photo(
    *, actor: Actor, of: Shown, file: BinaryIO, name: str, taken_at: datetime, at: datetime,
    key: uuid.UUID | None = None, clock: str = "",
) -> Photo:  # fmt: skip
    """Keep a photo of a visit, a flow point's run, a restoration line, a reading or the bottle of a
    concentrate check.

    It may come after the hand-in, because pictures are the last that a weak signal lets through.
    What shows readings, runs and bottles stays with the crew until the record is sealed; a valve or
    the place is the owner's to see like the visit. One picture may show two things: the file is
    kept once. `clock` says of a device that its clock is wrong, where no visit tells of it. Raises
    Forbidden; Refused key_used and what `registry.files.inspect` refuses.
    """
    visit, site, target, caption = _shown(of)
    if visit is not None:
        require_crew(actor, visit)
    elif isinstance(of, ConcentrateSample):
        _require_maker(actor, of.concentrate_check)
    _require_picture(file)
    own = new_key(Photo, key)
    draft = isinstance(of, FlowRun | Reading | ConcentrateSample) and of.sealed_at is None
    attachment = attaching.attach_or_find(
        actor=actor, site=site, target=target, upload=Upload(file, name), at=at,
        caption=caption[:200], held_back=draft,
    )  # fmt: skip
    on = {column: of for model, column in COLUMNS if isinstance(of, model)}
    return Photo.objects.create(
        by=actor, key=own, visit=visit, attachment=attachment, taken_at=taken_at,
        taken_by=f"{actor.person[:70]}, device {clock}" if clock else actor.person, **on,
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


def _require_maker(actor: Actor, check: ConcentrateCheck) -> None:
    """Whoever writes in the check, also after its hand-in, as the crew of a visit may. Raises
    Forbidden."""
    if not states.may(actor, "change", check):
        raise Forbidden(f"Only {check.organisation}, who makes this check, adds a photo to it.")


def _shown(of: Shown) -> tuple[Visit | None, Site, Target, str]:
    """The visit where it has one, the site, the thing in the register that the file hangs on, and
    what it shows in words."""
    if isinstance(of, ConcentrateSample):
        check = of.concentrate_check
        return None, check.site, check.tank, f"Bottle {of.label}, {of.get_point_display()}"
    visit: Visit
    target: Target
    if isinstance(of, FlowRun):
        visit, target, words = of.test.visit, of.test.proportioner, of.flow_point.name
        words = f"Flow point {words}"
    elif isinstance(of, RestorationLine):
        visit, target, words = of.visit, of.proportioner, of.text
    elif isinstance(of, Reading):
        bottle = of.bottle
        run = bottle.run
        visit, words = bottle.bench.visit, f"Display at {bottle.label}: {of.value_typed}"
        target = run.test.proportioner if run is not None else bottle.bench.tank
    else:
        visit, target, words = of, of.site, "Test day"
    return visit, visit.site, target, words


def photos_of_check(check: ConcentrateCheck) -> list[Photo]:
    """For code that holds the check by right."""
    photos = Photo.objects.filter(sample__concentrate_check=check)
    return list(photos.select_related("attachment", "sample"))


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


def release(*, actor: Actor, record: Record) -> None:
    """With the seal the photos of a record are for everybody who may see the site."""
    own = photos_of(record) if isinstance(record, ProportioningTest) else photos_of_check(record)
    for photo in own:
        attaching.show(actor=actor, row=photo.attachment)
