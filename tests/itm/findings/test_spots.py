"""What was found where nobody can measure any more ends with a reason, and is open again once
somebody can. Rules of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from calc.units import VOLUME
from itm.actions import keep_book
from itm.actions.change_proportioner import change_proportioner
from itm.core.errors import Refused
from itm.core.quantities import Quantity, quantity
from itm.findings import deciding
from itm.findings.catching_up import catch_up
from itm.findings.models import Deficiency
from itm.registry.changing_over import New
from itm.registry.services import PointRow
from tests.checks import checked
from tests.deeds import tested
from tests.factories import ConcentrateLotFactory

FINE = {"minimum": 3.4, "design": 3.4}
MAY, JUNE, JULY = date(2026, 5, 4), date(2026, 6, 15), date(2026, 7, 6)
AT = datetime(2026, 8, 1, 9, tzinfo=UTC)


def points(scene, **monitor) -> None:
    """The points as they are, and the monitor as said."""
    device, rows = scene.proportioner, []
    for point in device.flow_points.all():
        changes = monitor if point.name.startswith("monitor") else {}
        rows.append(
            PointRow(**{
                "name": point.name, "flow": Quantity(point.flow, point.flow_typed),
                "retired_on": point.retired_on, "key": point.key, **changes,
            })
        )  # fmt: skip
    if not device.flow_points.filter(name__startswith="monitor").exists():
        flow = device.flow_points.get(name="design")
        rows.append(PointRow(name="monitor", flow=Quantity(flow.flow, flow.flow_typed)))
    change_proportioner(actor=scene.owner, proportioner=device, flow_points=rows, at=AT)


def found(**where) -> Deficiency:
    return Deficiency.objects.get(closed_at=None, **where)


def test_what_was_found_at_a_flow_point_that_is_not_run_any_more_ends_and_comes_back(scene, client):
    points(scene)
    tested(scene, {**FINE, "monitor": 2.4}, on=MAY)
    row = found(cause="lean")
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=row, reason="taken down", at=AT)
    points(scene, retired_on=JUNE)
    assert found(cause="lean").is_open  # nothing closes by itself
    client.force_login(scene.owner.user)
    there = client.get(reverse("deficiency", args=[row.key])).content.decode()
    assert "is not tested at “monitor” any more." in there
    deciding.end(actor=scene.owner, deficiency=row, reason="taken down", at=AT)
    said = [(step.verb, step.words) for step in row.steps.order_by("pk")][-2:]
    assert said == [
        (
            "noted",
            f"No later record can show a fix: {scene.proportioner} is not tested at “monitor” any "
            "more.",
        ),
        ("closed", "taken down"),
    ]
    assert not catch_up(actor=scene.owner, site=scene.site, at=AT).opened
    points(scene, retired_on=None, name="monitor")
    again = found(cause="lean")
    assert (again.spot, again.found_on) == ("monitor", MAY)
    assert "Opened again" in again.steps.get(verb="noted").words


def test_a_flow_point_of_another_name_keeps_what_was_found_there(scene):
    points(scene)
    tested(scene, {**FINE, "monitor": 2.4}, on=MAY)
    row = found(cause="lean")
    points(scene, name="monitor at the quay")
    assert not deciding.may_end(row)
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=row, reason="renamed", at=AT)
    assert not catch_up(actor=scene.owner, site=scene.site, at=AT).opened
    tested(scene, {**FINE, "monitor at the quay": 2.2}, on=JUNE)
    again = found(cause="lean")
    assert (again.pk, again.again_on) == (row.pk, JUNE)
    assert again.again_words.startswith("Lean at monitor at the quay")
    tested(scene, {**FINE, "monitor at the quay": 3.4}, on=JULY)
    [words] = row.steps.filter(verb="proposed").values_list("words", flat=True)
    assert words == "Tested on 6 Jul 2026: right at monitor at the quay (first called monitor)."
    points(scene, retired_on=JULY, name="monitor at the quay")
    assert deciding.may_end(again)


def test_a_new_flow_point_of_an_old_name_proves_nothing_about_the_old_one(scene):
    points(scene)
    tested(scene, {**FINE, "monitor": 2.4}, on=MAY)
    row = found(cause="lean")
    points(scene, name="quay")
    points(scene)  # with a new one called monitor
    assert scene.proportioner.flow_points.filter(name="monitor").count() == 1
    tested(scene, {**FINE, "quay": 2.4, "monitor": 3.4}, on=JUNE)
    assert not row.steps.filter(verb="proposed").exists()
    tested(scene, {**FINE, "quay": 3.4, "monitor": 2.4}, on=JULY)
    assert row.steps.filter(verb="proposed").count() == 1
    assert Deficiency.objects.filter(closed_at=None, cause="lean").exclude(pk=row.pk).count() == 1


def test_a_flow_point_that_is_run_keeps_what_was_found_there(scene):
    points(scene)
    tested(scene, {**FINE, "minimum": 2.4, "monitor": 3.4}, on=MAY)
    points(scene, retired_on=JUNE)
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=found(cause="lean"), reason="x", at=AT)


def test_what_a_liquid_showed_ends_once_nothing_of_it_is_there_and_comes_back_with_it(scene):
    checked(scene, on=MAY, top={"ph": "9.9"}, bottom={"ph": "9.9"})
    row = found(cause="check", spot="ph")
    assert not deciding.may_end(row)
    free = ConcentrateLotFactory(
        owner=scene.owner.organisation, product="Invented free one", batch="FREE", pfas="free"
    )
    [over] = keep_book.change_over(
        actor=scene.owner, tank=scene.tank, today=JULY, at=AT,
        new=New(
            lot=free, changed_on=JUNE, volume=quantity("900", "L", VOLUME), cleaned="three rinses",
            papers="waste paper 17",
        ),
    )  # fmt: skip
    deciding.end(actor=scene.owner, deficiency=row, reason="changed over", at=AT)
    assert "Nothing of what stood in" in row.steps.filter(verb="noted").last().words
    assert not Deficiency.objects.filter(closed_at=None).exists()
    keep_book.withdraw_changeover(
        actor=scene.owner, changeover=over, because="another tank", at=AT + timedelta(hours=1)
    )
    assert found(cause="check", spot="ph").found_on == MAY


def test_strength_is_looked_at_in_whatever_stands_there_next(scene):
    checked(scene, on=MAY, top={"ph": "7.6"}, bottom={"ph": "9.9"})
    row = found(cause="check", spot="ph")
    row.spot = "strength"
    keep_book.move(
        actor=scene.owner, tank=scene.tank, kind="drain", moved_on=JUNE, volume=None,
        reason="end of life", today=JULY, at=AT,
    )  # fmt: skip
    assert not deciding.may_end(row)
    row.spot = "ph"
    assert deciding.may_end(row)
