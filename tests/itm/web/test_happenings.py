"""What people note of a site, and the tasks that it brings on."""

from datetime import date

import pytest
from django.urls import reverse
from django.utils import timezone

from itm.actions.adopt import adopt
from itm.actions.keep_book import move
from itm.actions.settle_rows import confirm
from itm.core.quantities import Quantity
from itm.schedule.models import Duty, Happening, Programme, Requirement
from tests.factories import TODAY, ConcentrateLotFactory, EquipmentFactory, FoamSystemFactory

EARLIER = date(2026, 1, 1)


def text(answer) -> str:
    return answer.content.decode()


def adopted(scene, programme: str, code: str) -> None:
    row, _ = adopt(
        actor=scene.owner, programme=Programme.objects.get(code=programme), starts_on=EARLIER,
        site=scene.site,
    )  # fmt: skip
    confirm(
        actor=scene.owner, adoption=row, requirements=[Requirement.objects.get(code=code)],
        checked_against="it", today=EARLIER,
    )  # fmt: skip


@pytest.fixture
def strainer(scene):
    made = EquipmentFactory(
        site=scene.site, system=scene.system, kind="strainer", variety="concentrate"
    )
    adopted(scene, "us-nfpa11-foam", "N11-04")
    return made


def wish(scene, **values) -> dict:
    return {"kind": "discharge", "system": scene.system.pk, "happened_on": "2026-06-01",
            "words": "real fire at the rack", **values}  # fmt: skip


def test_a_discharge_asks_for_the_strainers_and_its_withdrawal_takes_that_back(
    enter, scene, strainer
):
    client, address = enter("contractor"), reverse("happening_new", args=[scene.site.key])
    assert "1 duty begins." in text(client.post(address, wish(scene)))
    assert not Happening.objects.exists()
    client.post(address, wish(scene, sure="yes"))
    duty = Duty.objects.get(cause="event")
    assert (duty.equipment, duty.latest_on) == (strainer, date(2026, 6, 8))
    made = Happening.objects.get()
    client.post(reverse("happening_withdraw", args=[made.key]))
    duty.refresh_from_db()
    assert duty.withdrawn_on is not None
    assert "withdrawn on" in text(client.get(reverse("site_happenings", args=[scene.site.key])))


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"happened_on": "2099-01-01"}, "has not come yet"),
        ({"happened_on": "2017-01-01"}, "after that day"),
        ({"words": ""}, "This field is required"),
        ({"kind": "earthquake"}, "Select a valid choice"),
    ],
)
def test_what_cannot_have_been_gets_a_sentence(enter, scene, values, sentence):
    answer = enter("owner").post(
        reverse("happening_new", args=[scene.site.key]), wish(scene, **values)
    )
    assert answer.status_code == 422
    assert sentence in text(answer)


def test_a_system_of_another_site_cannot_be_chosen(enter, scene):
    other = FoamSystemFactory()
    answer = enter("owner").post(
        reverse("happening_new", args=[scene.site.key]), wish(scene, system=other.pk)
    )
    assert answer.status_code == 422


def test_another_lot_in_the_tank_asks_for_the_test_again(scene):
    """Common practice, no published source; FAA CertAlert 24-11 asks the same of vehicles."""
    adopted(scene, "project-common-practice", "CP-05")
    assert not Duty.objects.filter(requirement__code="CP-05").exists()
    kept = scene.tank.movements.get().lot
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, kind=kept.kind)
    move(
        actor=scene.owner, tank=scene.tank, today=TODAY, kind="top_up", lot=lot, moved_on=TODAY,
        volume=Quantity(0.01, "10 L"), at=timezone.now(),
    )  # fmt: skip
    duty = Duty.objects.get(requirement__code="CP-05")
    assert (duty.cause, duty.proportioner) == ("event", scene.proportioner)
