"""The invented day of fixtures/intake/day.json, with keys of a scene."""

import json
from pathlib import Path
from typing import Any
from uuid import uuid4

from itm.doors.hand_in_day import hand_in_day
from itm.intake.once import Answer

FIXTURE = Path(__file__).parents[2] / "fixtures" / "intake" / "day.json"
PLACES = ("site", "minimum", "design", "proportioner", "instrument", "lot")


def day_document(scene: Any) -> dict[str, Any]:
    points = {point.name: point for point in scene.proportioner.flow_points.all()}
    lot = scene.tank.movements.get(kind="fill").lot
    rows = [
        scene.site, points["minimum"], points["design"], scene.proportioner, scene.instrument, lot,
    ]  # fmt: skip
    text = FIXTURE.read_text()
    for number, row in enumerate(rows, start=1):
        placeholder = f"{number:08d}-0000-4000-8000-000000000000"
        assert placeholder in text, PLACES[number - 1]
        text = text.replace(placeholder, str(row.key))
    document: dict[str, Any] = json.loads(text)
    return document


def check_document(scene: Any) -> dict[str, Any]:
    """The invented check of fixtures/intake/check.json, of the scene's tank."""
    text = FIXTURE.with_name("check.json").read_text()
    placeholder = "00000007-0000-4000-8000-000000000000"
    assert placeholder in text
    document: dict[str, Any] = json.loads(text.replace(placeholder, str(scene.tank.key)))
    return document


def handed_in(scene: Any, document: Any, at: Any, *, key: Any = None, actor: Any = None) -> Answer:
    return hand_in_day(
        actor=actor or scene.contractor, document=document, key=key or uuid4(), at=at
    )
