"""What stays with a test although no engine can know it: a tank in doubt, a meter out of date."""

from datetime import date
from typing import Any

import pytest

from itm.accounts.actor import system
from itm.core.errors import Refused
from itm.records.chain import parsed, verify
from itm.records.services import plan_visit
from itm.registry.models import TankMovement
from itm.registry.movements import withdraw
from tests.conftest import Scene
from tests.deeds import prepared, tested
from tests.factories import (
    TODAY,
    CertificateFactory,
    ConcentrateLotFactory,
    StoreMovementFactory,
    TankFillFactory,
)

LEAVE = {"allowed_by": "R. Invented", "allowed_because": "letter of both makers"}
SAID = "R. Invented answers for it: letter of both makers."


def mix(scene: Scene) -> TankMovement:
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, kind="ar_afff")
    return TankFillFactory(
        tank=scene.tank, lot=lot, kind="top_up", volume=0.03, volume_typed="30 L",
        moved_on=date(2020, 5, 1), **LEAVE,
    )  # fmt: skip


def pages(enter: Any, test: Any) -> dict[str, str]:
    page = enter("contractor")
    return {
        address: page.get(f"/tests/{test.key}/{address}").content.decode()
        for address in ("", "report/")
    }


def test_mixture_by_leave_stands_on_every_page_of_its_tests(enter: Any, scene: Scene) -> None:
    mix(scene)
    draft = prepared(scene).test
    assert SAID in enter("contractor").get(f"/tests/{draft.key}/prepare/").content.decode()
    sealed = tested(scene, on=date(2026, 6, 20))
    for address, text in pages(enter, sealed).items():
        assert SAID in text, address


def test_sealed_record_keeps_what_was_said_when_the_tank_is_put_in_order(
    enter: Any, scene: Scene
) -> None:
    mixing = mix(scene)
    sealed = tested(scene)
    tank = parsed(sealed.seal)["tank"]
    assert tank["contents"][1]["share_percent"] == "3.1"  # 30 of 980 L
    assert [fill["volume"] for fill in tank["fills"]] == ["950 L", "30 L"]
    why = "it went into another tank"
    withdraw(actor=scene.owner, movement=mixing, because=why, at=sealed.handed_in_at)
    assert SAID in pages(enter, sealed)[""]
    assert list(verify()) == []


def test_tank_in_order_is_not_remarked_upon(enter: Any, scene: Scene) -> None:
    for address, text in pages(enter, tested(scene)).items():
        assert "<strong>tank " not in text.lower(), address
        assert "0.95 m³ of Invented concentrate" in text, address


@pytest.mark.parametrize(
    ("due", "said"),
    [(date(2026, 6, 14), True), (date(2026, 6, 15), False), (date(2026, 6, 16), False)],
)
def test_instrument_out_of_date_is_flagged_and_never_refused(
    enter: Any, scene: Scene, due: date, said: bool
) -> None:
    """Pitfall 8. The deed reads its bench on 15 June 2026; the day it is due still counts."""
    proof = scene.instrument.certificates.get()
    proof.due_on = due
    proof.save(by=system(TODAY))
    for address, text in pages(enter, tested(scene)).items():
        flagged = "certificate C-1:</strong> Out of date: it was due on 14 Jun 2026" in text
        assert flagged is said, address


def test_standards_from_a_lot_that_is_gone_are_remarked_upon(enter: Any, scene: Scene) -> None:
    old = scene.tank.movements.get().lot
    draft = prepared(scene).test
    draft.bench.lot = old
    draft.bench.save(by=system(TODAY))
    address = f"/tests/{draft.key}/prepare/"
    assert "nothing of" not in enter("contractor").get(address).content.decode()
    TankFillFactory(tank=scene.tank, lot=None, kind="drain", volume=None, volume_typed="",
                    moved_on=date(2026, 6, 1), reason="changed over")  # fmt: skip
    text = enter("contractor").get(address).content.decode()
    assert f"nothing of {old} stands in {scene.tank}" in text


def test_lot_of_another_nominal_percent_is_remarked_upon(enter: Any, scene: Scene) -> None:
    """Slip 51: after a changeover a 3 % proportioner meets a lot that is labelled 1 %."""
    draft = prepared(scene).test
    address = f"/tests/{draft.key}/prepare/"
    assert "is labelled" not in enter("contractor").get(address).content.decode()
    draft.bench.lot = lot = ConcentrateLotFactory(
        owner=scene.owner.organisation, nominal_percent="1"
    )
    draft.bench.save(by=system(TODAY))
    text = enter("contractor").get(address).content.decode()
    assert f"{lot} is labelled 1 %, the proportioner 3 %." in text


def test_standards_from_another_lot_stand_on_the_record_and_its_report(
    enter: Any, scene: Scene
) -> None:
    """Slip 18: standards made from a drum in the store, of another type and nominal percent than
    the tank holds."""
    drum = StoreMovementFactory(
        store__site=scene.site, store__lot__kind="ar_afff", store__lot__nominal_percent="6",
        store__lot__expires_on=date(2026, 6, 19),
    ).store.lot  # fmt: skip
    drum.refresh_from_db()
    with pytest.raises(Refused, match=f"{drum} is labelled 6 %") as refused:
        tested(scene, on=date(2026, 6, 20), lot=drum)
    assert (refused.value.code, refused.value.place) == ("other_percent", "other_percent_because")
    why = "the tank was just emptied of it"
    sealed = tested(scene, on=date(2026, 6, 20), lot=drum, other_percent_because=why)
    assert [move["reason"] for move in parsed(sealed.seal)["moves"]] == [why, "", ""]
    for address, text in pages(enter, sealed).items():
        for said in (
            f"{drum} is labelled 6 %, the proportioner 3 %.",
            f"nothing of {drum} stands in {scene.tank}",
            "Tank and standards differ: SFFF (fluorine-free) with AR-AFFF, 3 % with 6 %.",
            f"The lot {drum} expired on 19 Jun 2026.",
        ):
            assert said in text, (address, said)
    assert list(verify()) == []


def test_tank_of_another_nominal_percent_stops_at_prepare(enter: Any, scene: Scene) -> None:
    """Slip 51, where no lot is named: the tank went over to a concentrate for 1 %."""
    lot = scene.tank.movements.get().lot
    lot.nominal_percent = "1"
    lot.save(by=system(TODAY))
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    page, address = enter("contractor"), f"/visits/{visit.key}/tests/new/"
    entry = {
        "proportioner": scene.proportioner.key, "purpose": "periodic", "phase": "as_found",
        "flow_points": [str(point.key) for point in scene.proportioner.flow_points.all()],
        "bench": "new", "instrument": scene.instrument.key, "batch_volume_ml": "200",
        "water_source": "the hydrant",
    }  # fmt: skip
    stopped = page.post(address, entry)
    text = stopped.content.decode()
    assert stopped.status_code == 422
    assert f"{lot} is labelled 1 %, the proportioner 3 %." in text
    assert 'id="id_other_percent_because_error"' in text
    assert 'value="the hydrant"' in text
    assert not visit.tests.exists()
    assert not visit.benches.exists()
    entry["other_percent_because"] = "1 % on hydrocarbons, 3 % on polar solvents"
    assert page.post(address, entry).status_code == 302
    assert visit.tests.get().moves.get().reason == entry["other_percent_because"]


def test_instrument_without_certificate_is_flagged_and_never_refused(
    enter: Any, scene: Scene
) -> None:
    proof = scene.instrument.certificates.get()
    proof.withdrawn_because = "of another meter"
    proof.save(by=system(TODAY))
    assert "No calibration certificate of" in prepare_page(enter, scene)
    for address, text in pages(enter, tested(scene, on=date(2026, 6, 20))).items():
        assert "No calibration certificate is on record." in text, address


def prepare_page(enter: Any, scene: Scene) -> str:
    draft = prepared(scene).test
    page = enter("contractor")
    bench = page.get(f"/tests/{draft.key}/bench/").content.decode()
    prepare = page.get(f"/tests/{draft.key}/prepare/").content.decode()
    assert "No calibration certificate of" in bench
    return str(prepare)


def test_sealed_record_keeps_the_certificate_it_was_read_with(enter: Any, scene: Scene) -> None:
    sealed = tested(scene)
    CertificateFactory(instrument=scene.instrument, number="C-2", issued_on=date(2026, 6, 1))
    assert parsed(sealed.seal)["bench"]["instrument"]["certificate"] == "C-1"
    assert list(verify()) == []
