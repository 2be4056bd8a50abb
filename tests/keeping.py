"""Deeds for tests of keeping: files of every kind at a site, long past, and what is decided."""

import io
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from itm.actions.hand_in import hand_in
from itm.records.models import ProportioningTest
from itm.records.photographing import take_photo
from itm.registry import attaching
from itm.registry.attaching import Upload
from itm.registry.models import Attachment
from itm.retention import letting, setting
from itm.retention.models import Decision
from tests.deeds import discharged, prepared, read, restored, signed
from tests.itm.registry.pictures import PDF, picture

NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
OVER = NOW + letting.WAITS


def photographed(scene: Any, on: date = date(2020, 6, 15), **options: Any) -> ProportioningTest:
    """A sealed test with a photo of a flow point's run."""
    day = restored(discharged(prepared(scene, on=on, **options)))
    read(day, {"minimum": 3.2, "design": 3.4})
    run = day.test.runs.first()
    take_photo(
        actor=day.actor, of=run, file=io.BytesIO(picture("JPEG")), name="display.jpg",
        taken_at=day.tick(), at=day.tick(),
    )  # fmt: skip
    hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    signed(day)
    return ProportioningTest.objects.get(pk=day.test.pk)


def paper(scene: Any, *, name: str = "plan.pdf", on: date = date(2000, 1, 3), kind: str = "",
          data: bytes = b"") -> Attachment:  # fmt: skip
    at = datetime.combine(on, time(9), UTC)
    [row] = attaching.attach(
        actor=scene.owner, site=scene.site, target=scene.site, at=at,
        uploads=[Upload(io.BytesIO(data or PDF + name.encode()), name)],
    )  # fmt: skip
    if kind:
        setting.say(actor=scene.owner, site=scene.site, kinds={row.key: kind}, at=NOW)
    return row


def adopted(scene: Any, *codes: str) -> None:
    for code in codes:
        setting.adopt(
            actor=scene.owner, rule=setting.rule(code), sites=[scene.site], at=NOW,
            checked_against="the text of the law",
        )  # fmt: skip


def decided(
    scene: Any, kind: str, *rows: Any, verb: str = "let_go", at: datetime = NOW, **options: Any
) -> Decision:
    return letting.decide(
        actor=scene.owner, site=scene.site, kind=kind, verb=verb, keys=[row.key for row in rows],
        reason="the plan was followed by another", at=at, **options,
    )  # fmt: skip


def on_disk(row: Any) -> bool:
    return Path(settings.MEDIA_ROOT, row.file.name).exists()


def a_month_later(days: float = 0) -> datetime:
    return OVER + timedelta(days=days)
