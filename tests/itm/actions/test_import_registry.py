"""Sites, systems, tanks and the rest come in by the rules of their pages."""

from decimal import Decimal

import pytest
from django.utils import timezone

from itm.actions.undo_import import undo_import
from itm.core.errors import Refused
from itm.core.models import Change
from itm.doors.files import look_through
from itm.intake import uploads
from itm.intake.layouts import LAYOUTS
from itm.registry.models import (
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Site,
    Tank,
)
from itm.schedule.models import Duty
from tests.factories import ConcentrateLotFactory, OrganisationFactory, TankFillFactory, actor_of
from tests.itm.intake.imports import handed_in, taken, told


def example(kind: str) -> str:
    layout = LAYOUTS[kind]
    rows = [layout.names, *layout.examples]
    return "\n".join("\t".join(row) for row in rows) + "\n"


@pytest.fixture
def owner(db):
    return actor_of(OrganisationFactory(kind="owner"))


def test_every_example_comes_in_as_it_is_handed_out(owner):
    for kind in ("sites", "systems", "tanks", "proportioners", "equipment", "lots"):
        assert taken(owner, kind, example(kind)).state == "done", kind
    device = Proportioner.objects.get()
    assert (device.tag, device.tank.tag, device.system.name) == ("PR-1", "T-1", "Truck rack deluge")
    assert device.nominal_percent == 3
    assert sorted(device.flow_points.values_list("name", "flow_typed")) == [
        ("design", "1900 L/min"), ("minimum", "600 L/min"),
    ]  # fmt: skip
    assert device.system.minimum_flow == pytest.approx(0.01)  # 600 L/min is 0.01 m³/s
    assert Tank.objects.get().capacity == 1
    assert ConcentrateLot.objects.get().batch == "00712"
    valve, outlet, strainer, drain = Equipment.objects.order_by("pk")
    assert (valve.what, valve.position, valve.system) == ("Valve, locked", "open", device.system)
    assert (outlet.position, outlet.tank, outlet.walk_order) == ("one turn open", device.tank, 2)
    assert (strainer.pieces, strainer.normal_position) == (2, "")
    assert (drain.stands_at, drain.pieces) == (device.system.site, 1)
    assert Duty.objects.filter(proportioner=device, withdrawn_on=None).exists()


def test_instruments_of_a_contractor_come_in(scene):
    assert taken(scene.contractor, "instruments", example("instruments")).state == "done"
    made = Instrument.objects.get(serial_number="004417")
    assert made.resolution == Decimal("0.0001")
    assert made.organisation == scene.contractor.organisation


def test_what_the_page_would_refuse_is_told_at_its_cell(owner):
    taken(owner, "sites", example("sites"))
    wrong = example("systems").replace("600 L/min", "2600 L/min")
    row = handed_in(owner, "systems", wrong)
    assert row.state == "open"
    [problem] = row.findings["problems"]
    assert problem["place"] == "row 2"
    assert "at most the design flow" in problem["sentence"]
    assert not FoamSystem.objects.exists()


def test_one_wrong_row_keeps_all_out(owner):
    text = example("sites") + "Quay 10\t\t\tEurope/Nowhere\n"
    row = handed_in(owner, "sites", text)
    assert [place for place, _ in told(row)] == ["D3"]
    assert "IANA" in row.findings["problems"][0]["sentence"]
    assert not Site.objects.exists()


def test_a_name_that_is_there_already_is_told(owner):
    taken(owner, "sites", example("sites"))
    row = handed_in(owner, "sites", example("sites") + "Quay 10\t\t\tEurope/Lisbon\n")
    assert "already have a site with that name" in row.findings["problems"][0]["sentence"]


def test_a_bare_number_as_a_name_is_asked_about(owner, tmp_path):
    from tests.itm.intake.tables.files import workbook

    rows = [LAYOUTS["lots"].names, ["Invented", 712, "sfff", 3, "free", None, None, None, None, 7]]
    data = workbook(tmp_path, rows).read_bytes()
    row = handed_in(owner, "lots", data, name="lots.xlsx")
    [question] = [one for one in row.findings["questions"] if one["code"] == "bare_names"]
    assert "00712" in question["sentence"]
    uploads.answer(actor=owner, row=row, answers={"bare_names": "as it stands"})
    assert look_through(actor=owner, row=uploads.upload(owner, row.key)).state == "ready"


def test_an_owner_brings_no_instruments_and_a_contractor_no_sites(scene):
    for actor, kind in ((scene.owner, "instruments"), (scene.contractor, "sites")):
        with pytest.raises(Refused, match="not yours"):
            handed_in(actor, kind, example(kind))


def test_undone_things_are_retired_with_their_duties_and_come_again(owner):
    rows = [taken(owner, k, example(k)) for k in ("sites", "systems", "tanks", "proportioners")]
    with pytest.raises(Refused, match="Still in use"):
        undo_import(actor=owner, key=rows[0].key, because="slip", at=timezone.now())
    for row in reversed(rows):
        undo_import(actor=owner, key=row.key, because="slip", at=timezone.now())
    for model in (Site, FoamSystem, Tank, Proportioner):
        assert model.objects.exclude(retired_on=None).count() == 1
    assert not Duty.objects.exclude(stands=Duty.Stands.AT_REST).exists()
    assert taken(owner, "sites", example("sites")).state == "done"


def test_undone_lots_are_gone_unless_something_names_them(owner):
    row = taken(owner, "lots", example("lots"))
    fill = TankFillFactory(lot=ConcentrateLot.objects.get(), tank__site__owner=owner.organisation)
    with pytest.raises(Refused) as refused:
        undo_import(actor=owner, key=row.key, because="slip", at=timezone.now())
    assert refused.value.code == "built_on"
    assert fill.lot.batch == "00712"
    other = taken(owner, "lots", example("lots").replace("00712", "00713"))
    undo_import(actor=owner, key=other.key, because="slip", at=timezone.now())
    assert not ConcentrateLot.objects.filter(batch="00713").exists()
    assert ConcentrateLotFactory(owner=owner.organisation, batch="00713").batch == "00713"


@pytest.mark.parametrize(
    ("row", "place", "words"),
    [
        ("Quay 9;V-1;valve;;open;;;", "D2", "sealed, locked"),
        ("Quay 9;V-1;valve;locked;;;;", "E2", "How does this valve stand"),
        ("Quay 9;V-1;valve;locked;as noted;;;", "F2", "in words"),
        ("Quay 9;V-1;vent;locked;;;;", "D2", "Empty the cell"),
        ("Quay 9;V-1;valve;concentrate;open;;;", "D2", "which kind of valve"),
        ("Quay 9;V-1;gate;;;;;", "C2", "none of the words"),
        ("Quay 9;V-1;vent;;;;Nowhere;", "G2", "no foam system Nowhere"),
        ("Quay 9;V-1;vent;;;;;T-9", "H2", "no tank T-9"),
        ("Quay 9;V-1;vent;;;;Truck rack deluge;T-1", "H2", "not at both"),
    ],
)
def test_equipment_is_judged_as_on_its_page_and_told_at_its_cell(owner, row, place, words):
    for kind in ("sites", "systems", "tanks"):
        taken(owner, kind, example(kind))
    head = "site;tag;kind;variety;normal_position;position_note;system;tank"
    table = handed_in(owner, "equipment", f"{head}\n{row}\n")
    assert table.state == "open"
    problem = table.findings["problems"][0]
    assert problem["place"] == place, problem
    assert words in f"{problem['sentence']} {problem['fix']}"
    assert not Equipment.objects.exists()


def test_each_thing_keeps_a_line_of_history_that_names_its_import(owner):
    taken(owner, "sites", example("sites"), name="sites.csv")
    made = Change.objects.get(model="registry.Site", verb="created")
    assert made.note == "import of sites.csv"
    noted = Change.objects.get(model="intake.Upload", verb="taken in")
    assert noted.note == "1 row of sites.csv"


def test_undone_equipment_is_retired_and_its_tag_is_free_again(owner):
    for kind in ("sites", "systems", "tanks"):
        taken(owner, kind, example(kind))
    row = taken(owner, "equipment", example("equipment"))
    undo_import(actor=owner, key=row.key, because="slip", at=timezone.now())
    assert not Equipment.objects.filter(retired_on=None).exists()
    assert taken(owner, "equipment", example("equipment")).state == "done"


def test_a_tank_with_its_unit_lost_is_asked_about_and_a_day_to_come_is_told(owner):
    taken(owner, "sites", example("sites"))
    layout = LAYOUTS["tanks"]
    row = dict(zip(layout.names, layout.examples[0], strict=False))

    def bring(**changed):
        given = {**row, **changed}
        text = "\t".join(given) + "\n" + "\t".join(given.values()) + "\n"
        return handed_in(owner, "tanks", text)

    odd = bring(capacity="5000 L", usable_volume="5 L")
    assert odd.state == "ready"
    [asked] = odd.findings["asked"]
    assert "Usable is 5 L of 5000 L" in asked["sentence"]
    [(_, code)] = told(bring(installed_on="2099-01-01"))
    assert code == "not_valid"
