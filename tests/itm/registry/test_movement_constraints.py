"""What the database itself refuses of a movement, whoever writes past the services."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from itm.registry.models import TankMovement
from tests.conftest import Scene

IN: dict[str, Any] = {"kind": "top_up", "volume": 0.01, "volume_typed": "10 L"}
OUT: dict[str, Any] = {"kind": "draw_off", "lot": None, "volume": 0.01, "volume_typed": "10 L",
                       "reason": "test"}  # fmt: skip
DRAIN: dict[str, Any] = {"kind": "drain", "lot": None, "reason": "changed over"}
AT = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("right", "wrong", "sentence"),
    [
        (IN, {"lot": None}, "names the lot that went in"),
        (IN, {"volume": 0}, "The volume is above 0"),
        (IN, {"volume": -0.01}, "The volume is above 0"),
        (IN, {"volume": None}, "only that of a drain may stay empty"),
        (IN, {"cleaned": "rinsed"}, "Only a drained tank is cleaned"),
        (IN, {"allowed_by": "R. Invented"}, "Leave to mix names both"),
        (IN, {"allowed_because": "letter"}, "Leave to mix names both"),
        (OUT, {"reason": ""}, "Say why it was taken out"),
        (OUT, {"kind": "top_up"}, "names the lot that went in"),
        (OUT, {"allowed_by": "R. Invented", "allowed_because": "letter"}, "belongs to a top-up"),
        (DRAIN, {"reason": ""}, "Say why it was taken out"),
        (DRAIN, {"residue_mg_l": -1}, "0 mg/L or more"),
        (DRAIN, {"withdrawn_at": AT}, "A withdrawal says who, when and why"),
        (DRAIN, {"withdrawn_because": "slip"}, "A withdrawal says who, when and why"),
    ],
)
def test_database_refuses_with_a_sentence(
    scene: Scene, right: dict[str, Any], wrong: dict[str, Any], sentence: str
) -> None:
    def row(**changes: Any) -> TankMovement:
        lot = scene.tank.movements.filter(kind="fill").get().lot
        day = date(2025, 3, 1)
        return TankMovement(**{"tank": scene.tank, "lot": lot, "moved_on": day, **right, **changes})

    with pytest.raises(IntegrityError), transaction.atomic():
        row(**wrong).save(by=scene.owner)
    with pytest.raises(ValidationError, match=sentence):
        row(**wrong).full_clean()
    row().full_clean()
    row().save(by=scene.owner)  # without the one thing wrong
