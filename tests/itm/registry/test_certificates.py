"""Which certificate is in force on a day, and what is refused of one.

That a due date is held against the day of the reading is pitfall 8 of the reference; that the day
itself still counts is common practice, no published source.
"""

from datetime import date
from typing import Any

import pytest

from itm.core.errors import Forbidden, Refused
from itm.registry.certificates import (
    add_certificate,
    certificate_on,
    change_certificate,
    in_force,
    ran_out,
    withdraw_certificate,
)
from itm.registry.models import Certificate
from tests.conftest import Scene
from tests.factories import TODAY, InstrumentFactory


def one(pk: int, issued: date | None, due: date | None = None, **more: Any) -> Certificate:
    return Certificate(pk=pk, number=f"K-{pk}", issued_on=issued, due_on=due, **more)


KEPT = [
    one(3, date(2025, 3, 1), date(2026, 3, 1)),
    one(1, None, date(2024, 2, 1)),
    one(2, date(2024, 3, 1), date(2025, 3, 1)),
    one(4, date(2025, 6, 1), withdrawn_because="of another meter"),
]


@pytest.mark.parametrize(
    ("on", "number", "late"),
    [
        (date(2010, 1, 1), "K-1", False),  # older papers without a day
        (date(2024, 2, 1), "K-1", False),  # the day it is due still counts
        (date(2024, 2, 29), "K-1", True),
        (date(2024, 3, 1), "K-2", False),  # in force from the day of the calibration
        (date(2025, 3, 1), "K-3", False),
        (date(2026, 3, 2), "K-3", True),  # the withdrawn one is none
    ],
)
def test_certificate_in_force_is_the_latest_calibration_by_that_day(
    on: date, number: str, late: bool
) -> None:
    found = in_force(KEPT, on)
    assert found is not None
    assert (found.number, ran_out(found, on)) == (number, late)


def test_instrument_without_any_has_none_and_is_not_called_late() -> None:
    assert in_force([one(1, date(2025, 1, 1))], date(2024, 12, 31)) is None
    assert not ran_out(None, TODAY)
    assert not ran_out(one(1, None), TODAY)


@pytest.mark.parametrize(
    ("values", "code", "place"),
    [
        ({"number": "K-9", "issued_on": date(2026, 6, 16)}, "day_ahead", "issued_on"),
        ({"number": "C-1"}, "not_valid", ""),  # the scene's instrument has that one
        (
            {"number": "K-9", "issued_on": date(2026, 1, 1), "due_on": date(2026, 1, 1)},
            "not_valid", "",
        ),
        ({"number": ""}, "not_valid", "number"),
    ],
)  # fmt: skip
def test_impossible_certificate_is_refused(
    scene: Scene, values: dict[str, Any], code: str, place: str
) -> None:
    keep = {"actor": scene.contractor, "instrument": scene.instrument, "today": date(2026, 6, 15)}
    with pytest.raises(Refused) as refused:
        add_certificate(**keep, **values)
    assert (refused.value.code, refused.value.place) == (code, place)
    add_certificate(**keep, number="K-9", issued_on=date(2026, 6, 15), due_on=date(2027, 6, 15))
    now = certificate_on(scene.instrument, TODAY)
    assert now is not None
    assert now.number == "K-9"


def test_only_whose_instrument_it_is_writes_its_certificates(scene: Scene) -> None:
    row = scene.instrument.certificates.get()
    with pytest.raises(Forbidden):
        change_certificate(actor=scene.owner, certificate=row, today=TODAY, number="X")
    other = InstrumentFactory().certificates.get()
    with pytest.raises(Forbidden):
        withdraw_certificate(actor=scene.contractor, certificate=other, because="not mine")


def test_wrong_certificate_is_withdrawn_with_a_reason_and_its_number_is_free(scene: Scene) -> None:
    row = scene.instrument.certificates.get()
    with pytest.raises(Refused):
        withdraw_certificate(actor=scene.contractor, certificate=row, because=" ")
    withdraw_certificate(actor=scene.contractor, certificate=row, because="of another meter")
    assert certificate_on(scene.instrument, TODAY) is None
    add_certificate(actor=scene.contractor, instrument=scene.instrument, today=TODAY, number="C-1")
