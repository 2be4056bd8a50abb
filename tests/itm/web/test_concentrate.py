"""Lots, the book of a tank, and instruments."""

from typing import Any

import pytest

from itm.registry.models import (
    ConcentrateLot,
    Instrument,
    TankMovement,
)
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
)


def test_lot_goes_into_a_tank_by_a_movement_that_can_be_put_right(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    page.post(
        "/lots/new/",
        {"product": "Invented SFFF", "kind": "sfff", "nominal_percent": "3", "batch": "K-7",
         "pfas": "free", "refractive_index": "1,3752", "density": "1 042.5", "ph": "7.9",
         "made_on": "2025-01-10", "expires_on": "2045-01-10"},
    )  # fmt: skip
    lot = ConcentrateLot.objects.get(batch="K-7")
    assert str(lot.refractive_index) == "1.37520"
    url = f"/tanks/{scene.tank.key}/movements/"
    entry = {"lot": lot.pk, "moved_on": "2025-03-01", "volume": "40", "volume_unit": "L"}
    page.post(f"{url}top-up/", entry)
    wrong = TankMovement.objects.get(lot=lot)
    assert wrong.volume == pytest.approx(0.04, rel=1e-15)
    page.post(
        f"/movements/{wrong.key}/correct/", {**entry, "volume": "42", "because": "misread the drum"}
    )
    wrong.refresh_from_db()
    right = wrong.replaced_by
    assert (wrong.withdrawn_because, wrong.volume_typed) == ("misread the drum", "40 L")
    assert (right.volume_typed, right.kind, right.withdrawn_at) == ("42 L", "top_up", None)
    text = page.get(f"/tanks/{scene.tank.key}/").content.decode()
    assert "42 L" in text
    assert "misread the drum" in text  # the wrong one stays to be read
    assert "42 L" in page.get(f"/lots/{lot.key}/").content.decode()


@pytest.mark.parametrize(
    ("kind", "changed", "sentence"),
    [
        ("top-up", {"volume": "1200"}, "The tank holds 1 m³; more does not go in or come out"),
        ("top-up", {"volume": "51"}, "it would hold more than its capacity of 1 m³"),
        ("top-up", {"moved_on": "2999-01-01"}, "This day has not come yet."),
        ("top-up", {"volume": "0"}, "The volume is above 0"),
        ("fill", {"volume": "5"}, "a fill goes into an empty tank"),
        ("draw-off", {"volume": "951", "reason": "test"}, "cannot have come out of it"),
        ("draw-off", {"volume": "5"}, "This field is required."),
    ],
)
def test_impossible_movement_is_refused(
    enter: Any, scene: Scene, kind: str, changed: dict[str, str], sentence: str
) -> None:
    lot = scene.tank.movements.get().lot
    entry = {"lot": lot.pk, "moved_on": "2025-03-01", "volume": "30", "volume_unit": "L"}
    address = f"/tanks/{scene.tank.key}/movements/{kind}/"
    answer = enter("owner").post(address, {**entry, **changed})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in text
    assert f'value="{changed.get("volume", "30")}"' in text  # nothing typed is lost
    assert scene.tank.movements.count() == 1
    fine = {**entry, "reason": "test"}  # the same entry without the one thing wrong
    if kind != "fill":
        assert enter("owner").post(address, fine).status_code == 302


def test_mixture_needs_a_name_and_the_warning_stays(enter: Any, scene: Scene) -> None:
    page, owner = enter("owner"), scene.owner.organisation
    other = ConcentrateLotFactory(owner=owner, kind="ar_afff", nominal_percent="6", pfas="contains")
    address = f"/tanks/{scene.tank.key}/movements/top-up/"
    entry = {"lot": other.pk, "moved_on": "2025-03-01", "volume": "50", "volume_unit": "L"}
    refused = page.post(address, entry)
    assert refused.status_code == 422
    assert "AR-AFFF" in refused.content.decode()
    assert "3 % with 6 %" in refused.content.decode()
    half = page.post(address, {**entry, "allowed_by": "R. Invented"})
    assert "Leave to mix names both" in half.content.decode()
    leave = {"allowed_by": "R. Invented", "allowed_because": "letter of both makers, 1 Feb 2025"}
    assert page.post(address, {**entry, **leave}).status_code == 302
    for there in (f"/tanks/{scene.tank.key}/", f"/lots/{other.key}/"):
        text = page.get(there).content.decode()
        assert "R. Invented answers for it: letter of both makers" in text
    needless = {**entry, **leave, "lot": other.pk, "moved_on": "2018-01-01", "volume": "1"}
    assert page.post(address, needless).status_code == 422  # the tank was empty on that day


def test_movement_is_withdrawn_with_a_reason_or_not_at_all(enter: Any, scene: Scene) -> None:
    page, fill = enter("owner"), scene.tank.movements.get()
    address = f"/movements/{fill.key}/withdraw/"
    assert page.post(address, {"because": " "}).status_code == 422
    page.post(
        f"/tanks/{scene.tank.key}/movements/draw-off/",
        {"moved_on": "2025-03-01", "volume": "30", "volume_unit": "L", "reason": "yearly test"},
    )
    refused = page.post(address, {"because": "never came"})
    assert "cannot have come out of it" in refused.content.decode()
    drawn = scene.tank.movements.get(kind="draw_off")
    page.post(f"/movements/{drawn.key}/withdraw/", {"because": "no test took place"})
    assert page.post(address, {"because": "never came"}).status_code == 302
    again = page.post(address, {"because": "never came"})
    assert "withdrew this already" in again.content.decode()
    text = page.get(f"/tanks/{scene.tank.key}/").content.decode()
    assert "never came" in text
    assert "Nothing noted" in text


def test_tank_page_shows_the_contents_of_any_day(enter: Any, scene: Scene) -> None:
    page, tank = enter("owner"), scene.tank
    drain = {"moved_on": "2025-03-01", "reason": "changed over", "cleaned": "three rinses"}
    page.post(f"/tanks/{tank.key}/movements/drain/", drain)
    now = page.get(f"/tanks/{tank.key}/").content.decode()
    then = page.get(f"/tanks/{tank.key}/?on=2025-02-28").content.decode()
    long_ago = page.get(f"/tanks/{tank.key}/?on=2010-01-01").content.decode()
    assert "Empty" in now
    assert "0.95 m³</span></caption>" in then
    assert "what stood in it then is not known" in long_ago
    assert "Write the day as year" in page.get(f"/tanks/{tank.key}/?on=1/2/25").content.decode()


def test_tank_was_not_installed_after_it_was_filled(enter: Any, scene: Scene) -> None:
    page, tank = enter("owner"), scene.tank
    entry = {"tag": tank.tag, "kind": tank.kind, "capacity": "1", "capacity_unit": "m³",
             "usable_volume": "900", "usable_volume_unit": "L"}  # fmt: skip
    late = page.post(f"/tanks/{tank.key}/edit/", {**entry, "installed_on": "2018-02-02"})
    assert "Something went into it on 1 Feb 2018 already" in late.content.decode()
    small = {"capacity": "920", "capacity_unit": "L", "usable_volume": "900"}
    smaller = page.post(f"/tanks/{tank.key}/edit/", {**entry, **small})
    assert "more than its capacity of 920 L" in smaller.content.decode()
    assert page.post(f"/tanks/{tank.key}/edit/", {**entry, "installed_on": "2018-02-01"})
    lot = tank.movements.get().lot
    early = {"lot": lot.pk, "moved_on": "2018-01-31", "volume": "5", "volume_unit": "L"}
    refused = page.post(f"/tanks/{tank.key}/movements/fill/", early)
    assert "was installed on 1 Feb 2018, after that day" in refused.content.decode()


def test_lot_of_another_owner_is_no_choice(enter: Any, scene: Scene) -> None:
    foreign = ConcentrateLotFactory()
    entry = {"lot": foreign.pk, "moved_on": "2025-03-01", "volume": "1", "volume_unit": "L"}
    answer = enter("owner").post(f"/tanks/{scene.tank.key}/movements/top-up/", entry)
    assert "Select a valid choice" in answer.content.decode()


def test_contractor_keeps_an_instrument(enter: Any, scene: Scene) -> None:
    page = enter("contractor")
    entry = {"name": "Bench meter", "serial_number": "77", "method": "conductivity",
             "unit": "", "resolution": "0,01", "repeatability": ""}  # fmt: skip
    wrong = page.post("/instruments/new/", entry)
    assert "The unit does not fit" in wrong.content.decode()
    page.post("/instruments/new/", {**entry, "unit": "mS/cm"})
    row = Instrument.objects.get(serial_number="77")
    assert row.organisation == scene.contractor.organisation
    page.post(f"/instruments/{row.key}/edit/", {**entry, "unit": "mS/cm", "name": "Other name"})
    assert "No certificate yet" in page.get(f"/instruments/{row.key}/").content.decode()
    proof = {"number": "K-1", "laboratory": "Invented room", "issued_on": "2025-01-10",
             "due_on": "2025-01-09"}  # fmt: skip
    new = f"/instruments/{row.key}/certificates/new/"
    wrong = page.post(new, proof)
    assert wrong.status_code == 422
    assert "The next calibration is due after the day of this one" in wrong.content.decode()
    page.post(new, {**proof, "due_on": "2026-01-10"})
    kept = row.certificates.get()
    assert "in force, out of date" in page.get(f"/instruments/{row.key}/").content.decode()
    page.post(f"/certificates/{kept.key}/edit/", {**proof, "due_on": "2999-01-10"})
    text = page.get(f"/instruments/{row.key}/").content.decode()
    assert "in force" in text
    assert "out of date" not in text
    page.post(f"/certificates/{kept.key}/withdraw/", {"because": "of another meter"})
    assert "of another meter" in page.get(f"/instruments/{row.key}/").content.decode()
    page.post(f"/instruments/{row.key}/retire/", {"retired_on": "2026-01-01"})
    link = f'href="/instruments/{row.key}/"'
    assert link not in page.get("/instruments/").content.decode()
    assert link in page.get("/instruments/?shown=all").content.decode()
