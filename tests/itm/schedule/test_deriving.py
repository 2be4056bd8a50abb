"""What is due at a site from its programmes, records and events, as rows."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from itm.core.models import Change
from itm.registry.models import Equipment
from itm.schedule import adopting
from itm.schedule.due import Result, Window
from itm.schedule.history import Done, History
from itm.schedule.models import Duty, Happening, Programme, Requirement
from itm.schedule.services import derive, start_duties
from tests.factories import EquipmentFactory, ProportionerFactory

FROM = date(2026, 1, 1)
NFPA25 = "us-nfpa25-foam-water"


def row(code: str) -> Requirement:
    return Requirement.objects.get(code=code)


def adopt(scene, *codes: str, programme: str = NFPA25, starts_on: date = FROM):
    """Adopted for the site, the rows named confirmed."""
    adoption = adopting.adopt(
        actor=scene.owner, programme=Programme.objects.get(code=programme), starts_on=starts_on,
        site=scene.site,
    )  # fmt: skip
    if codes:
        adopting.confirm(
            actor=scene.owner, adoption=adoption, requirements=[row(code) for code in codes],
            checked_against="the bought standard", today=starts_on,
        )  # fmt: skip
    return adoption


def run(scene, history: History | None = None, why: str = "") -> None:
    derive(actor=scene.owner, sites=[scene.site], histories=[history or History()], why=why)


def duties(code: str, **where) -> list[Duty]:
    rows = Duty.objects.filter(requirement__code=code, withdrawn_on=None, **where)
    return list(rows.order_by("counts_from", "pk"))


def done(thing, link: str, code: str, *on: date) -> list[Done]:
    found = row(code)
    return [
        Done((link, thing.pk), (found.programme.code, code), found.task, day, uuid4()) for day in on
    ]


def proved(*on: date) -> list[Result]:
    return [Result(day, "in band", "settled", "periodic", "as_found", uuid4()) for day in on]


# Which things --------------------------------------------------------------------------------


def test_each_thing_that_fits_has_a_duty_and_nothing_else(scene):
    sealed = EquipmentFactory(site=scene.site, system=scene.system, kind="valve", variety="sealed",
                              normal_position="open")  # fmt: skip
    EquipmentFactory(site=scene.site, system=scene.system, kind="valve", variety="locked",
                     normal_position="open")  # fmt: skip
    adopt(scene, "N25-01")
    run(scene)
    [found] = duties("N25-01")
    assert found.equipment == sealed
    assert duties("N25-02") == []  # nobody confirmed that row


def test_without_an_adoption_only_test_and_check_are_due(scene):
    run(scene)
    assert {duty.requirement.programme.everywhere for duty in Duty.objects.all()} == {True}
    assert Duty.objects.count() == 2


def test_deriving_gives_what_starting_gave(scene):
    start_duties(actor=scene.owner, proportioner=scene.proportioner, tank=scene.tank)
    before = Change.objects.count()
    run(scene)
    assert Change.objects.count() == before


def test_a_row_for_the_site_itself_hangs_on_it(scene):
    adopt(scene, "EN-06", programme="eu-en13565")
    run(scene)
    [found] = duties("EN-06")
    assert (found.thing, found.proportioner, found.tank) == (scene.site, None, None)


def test_new_equipment_gets_its_duty_and_retired_equipment_keeps_its_rows(scene):
    adopt(scene, "N25-10")
    run(scene)
    assert duties("N25-10") == []
    strainer = EquipmentFactory(
        site=scene.site, system=scene.system, kind="strainer", variety="concentrate"
    )
    run(scene)
    [found] = duties("N25-10")
    strainer.retired_on = date(2026, 6, 15)
    strainer.save(by=scene.owner)
    run(scene)
    assert [duty.pk for duty in duties("N25-10")] == [found.pk]


def test_equipment_of_another_kind_after_a_correction_loses_the_open_duty(scene):
    thing = EquipmentFactory(
        site=scene.site, system=scene.system, kind="strainer", variety="concentrate"
    )
    adopt(scene, "N25-10")
    run(scene)
    thing.variety = "water"
    thing.save(by=scene.owner)
    run(scene)
    assert duties("N25-10") == []
    assert Duty.objects.get(requirement__code="N25-10").withdrawn_on == scene.owner.today


# From when -----------------------------------------------------------------------------------


def test_what_was_adopted_counts_from_its_adoption(scene):
    adopt(scene)
    run(scene)
    [look] = duties("N25-04")
    assert (look.counts_from, look.latest_on) == (FROM, date(2026, 2, 28))


def test_an_adopted_test_takes_the_place_of_the_one_that_holds_everywhere(scene):
    """The last test counts on; what was done stays as it was under the row it was done under."""
    history = History(tests={scene.proportioner.pk: proved(date(2025, 3, 1))})
    run(scene, history)
    adopt(scene, programme="us-nfpa11-foam")
    run(scene, history)
    before = duties("annual-proportioning-test")
    assert [(d.counts_from, d.done_on) for d in before] == [(date(2018, 3, 1), date(2025, 3, 1))]
    [now] = duties("N11-02")
    assert (now.counts_from, now.latest_on) == (date(2025, 3, 1), date(2026, 3, 1))


def test_what_was_missed_before_the_adoption_stays_missed(scene):
    run(scene)  # commissioned in 2018, never tested
    adopt(scene, programme="us-nfpa11-foam")
    run(scene)
    [missed] = duties("annual-proportioning-test")
    assert missed.done_on is None
    assert missed.latest_on == date(2019, 6, 1)
    assert duties("N11-02") == []
    run(scene, History(tests={scene.proportioner.pk: proved(date(2026, 5, 1))}))
    [missed] = duties("annual-proportioning-test")
    assert (missed.done_on, missed.latest_on) == (date(2026, 5, 1), date(2019, 6, 1))
    [now] = duties("N11-02")
    assert now.counts_from == date(2026, 5, 1)


def test_a_new_edition_keeps_the_old_duties(scene):
    valve = EquipmentFactory(site=scene.site, system=scene.system, kind="valve", variety="locked",
                             normal_position="open")  # fmt: skip
    adopt(scene, "N25-02")
    history = History(done=done(valve, "equipment", "N25-02", date(2026, 2, 3), date(2026, 3, 5)))
    run(scene, history)
    newer = Programme.objects.create(code=NFPA25, name="NFPA 25", edition="2029, invented")
    same = row("N25-02")
    Requirement.objects.create(
        programme=newer, code=same.code, task=same.task, applies_to=same.applies_to, interval=3,
        earliest=2, latest=4, source="invented", confidence="looked up",
    )  # fmt: skip
    adopting.adopt(actor=scene.owner, programme=newer, starts_on=date(2026, 4, 1), site=scene.site)
    run(scene, history)
    old, new = duties("N25-02", requirement=same), duties("N25-02", requirement__programme=newer)
    assert [duty.done_on for duty in old] == [date(2026, 2, 3), date(2026, 3, 5)]
    assert [(duty.counts_from, duty.latest_on) for duty in new] == [
        (date(2026, 3, 5), date(2026, 7, 5))
    ]


def test_terms_move_the_open_cycle_only(scene):
    history = History(tests={scene.proportioner.pk: proved(date(2026, 3, 1))})
    adoption = adopt(scene, programme="us-nfpa11-foam", starts_on=date(2019, 1, 1))
    run(scene, history)
    adopting.set_terms(
        actor=scene.owner, adoption=adoption, requirement=row("N11-02"),
        starts_on=date(2026, 6, 1), window=Window(0, 6, 6),
    )  # fmt: skip
    run(scene, history)
    done_one, open_one = duties("N11-02")
    assert (done_one.done_on, done_one.latest_on) == (date(2026, 3, 1), date(2019, 3, 1))
    assert open_one.latest_on == date(2026, 9, 1)


def test_first_analysis_on_a_ship_has_its_longer_first_cycle(scene):
    """MSC.1/Circ.1312 (2009) section 4: within 36 months, then every 12."""
    adopt(scene, programme="imo-ships", starts_on=date(2018, 1, 1))
    run(scene)
    [found] = duties("IMO-04")
    assert (found.counts_from, found.latest_on) == (date(2018, 3, 1), date(2021, 3, 1))
    run(scene, History(done=done(scene.tank, "tank", "IMO-04", date(2020, 3, 1))))
    assert duties("IMO-04")[-1].latest_on == date(2021, 3, 1)


# Events --------------------------------------------------------------------------------------


@pytest.fixture
def strainer(scene):
    return EquipmentFactory(
        site=scene.site, system=scene.system, kind="strainer", variety="concentrate"
    )


def test_a_flow_test_asks_for_the_strainers_and_moves_nothing_periodic(scene, strainer):
    adopt(scene, "N11-04", programme="us-nfpa11-foam")
    run(scene)
    before = list(Duty.objects.filter(cause="periodic").values_list("pk", "due_on"))
    history = History(tests={})
    discharge = Happening.objects.create(
        by=scene.owner, site=scene.site, system=scene.system, kind="discharge",
        happened_on=date(2026, 5, 1), words="real fire",
    )  # fmt: skip
    run(scene, history)
    [asked] = duties("N11-04")
    assert (asked.cause, asked.equipment, asked.latest_on) == ("event", strainer, date(2026, 5, 8))
    assert list(Duty.objects.filter(cause="periodic").values_list("pk", "due_on")) == before
    discharge.withdrawn_on = date(2026, 5, 2)
    discharge.save(by=scene.owner)
    run(scene, history)
    assert duties("N11-04") == []


def test_sealed_tests_are_flow_tests(scene, strainer):
    adopt(scene, "N11-04", programme="us-nfpa11-foam")
    run(scene, History(tests={scene.proportioner.pk: proved(date(2026, 5, 1))}))
    [asked] = duties("N11-04")
    assert asked.counts_from == date(2026, 5, 1)
    other = ProportionerFactory()  # of another site
    run(scene, History(tests={other.pk: proved(date(2026, 5, 9))}))
    assert duties("N11-04") == []


def test_events_before_the_adoption_ask_nothing(scene, strainer):
    adopt(scene, "N11-04", programme="us-nfpa11-foam")
    run(scene, History(tests={scene.proportioner.pk: proved(date(2025, 5, 1))}))
    assert duties("N11-04") == []


def test_a_day_named_by_the_rule_is_asked_once(scene):
    adopt(scene, "EN-07", programme="eu-en13565")
    run(scene)
    [asked] = duties("EN-07")
    assert (asked.cause, asked.latest_on) == ("once", date(2026, 10, 23))
    run(scene, History(done=done(scene.tank, "tank", "EN-07", date(2026, 9, 1))))
    [asked] = duties("EN-07")
    assert asked.done_on == date(2026, 9, 1)


def test_old_concentrate_shortens_its_interval_from_the_day_it_is_old(scene):
    """By condition: past its expiry date. Common practice, no published source."""
    adopt(scene, "CP-04", programme="project-common-practice", starts_on=date(2020, 1, 1))
    run(scene)
    assert duties("CP-04") == []  # the lot names no day
    lot = scene.tank.movements.get().lot
    lot.expires_on = date(2026, 4, 30)
    lot.save(by=scene.owner)
    run(scene)
    [asked] = duties("CP-04")
    assert (asked.counts_from, asked.latest_on) == (date(2026, 4, 30), date(2026, 10, 30))


# As rows -------------------------------------------------------------------------------------


def test_deriving_twice_writes_nothing(scene, strainer):
    adopt(scene, "N25-10", "N25-25", "N25-30")
    history = History(tests={scene.proportioner.pk: proved(date(2026, 5, 1))})
    run(scene, history, why="programme adopted")
    before = Change.objects.count(), list(Duty.objects.order_by("pk").values())
    run(scene, history)
    assert (Change.objects.count(), list(Duty.objects.order_by("pk").values())) == before


def test_many_new_duties_are_one_change_with_its_reason(scene):
    adopt(scene)
    run(scene, why="NFPA 25 was adopted")
    [noted] = Change.objects.filter(model="schedule.Duty")
    assert noted.note.endswith("duties: NFPA 25 was adopted")


def test_the_order_in_which_records_arrive_says_nothing(scene, strainer):
    adopt(scene, "N25-10", starts_on=date(2024, 1, 1))
    days = [date(2024, 4, 1), date(2024, 7, 1), date(2024, 10, 1)]
    records = done(strainer, "equipment", "N25-10", *days)
    seen = []
    for order in (records, records[::-1]):
        for count in range(1, 4):
            run(scene, History(done=order[:count]))
        seen.append([(duty.counts_from, duty.done_on) for duty in duties("N25-10")])
    assert seen[0] == seen[1]


def test_a_moved_due_date_stays_while_it_fits(scene):
    adopt(scene)
    run(scene)
    [look] = duties("N25-16")
    look.shifted_to, look.shifted_why, look.due_on = date(2027, 2, 1), "plant is shut", FROM
    look.due_on = look.shifted_to
    look.save(by=scene.owner)
    run(scene)
    [look] = duties("N25-16")
    assert look.due_on == date(2027, 2, 1)
    run(scene, History(done=done(scene.system, "system", "N25-16", date(2026, 12, 1))))
    assert [duty.shifted_to for duty in duties("N25-16")] == [date(2027, 2, 1), None]


@pytest.mark.parametrize("links", [("equipment", "system"), ("tank", "equipment")])
def test_a_duty_hangs_on_one_thing(scene, strainer, links):
    things = {"equipment": strainer, "system": scene.system, "tank": scene.tank}
    good = {
        "site": scene.site, "requirement": row("N25-10"), "counts_from": FROM,
        "window_opens_on": FROM, "due_on": FROM, "latest_on": FROM, "stands": "overdue",
    }  # fmt: skip
    Duty(**good, equipment=strainer).save(by=scene.owner)
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty(**good, **{name: things[name] for name in links}).save(by=scene.owner)


def test_two_open_cycles_of_one_thing_are_refused(scene, strainer):
    adopt(scene, "N25-10")
    run(scene)
    [found] = duties("N25-10")
    twin = {f.attname: getattr(found, f.attname) for f in Duty._meta.concrete_fields}
    twin |= {"id": None, "key": uuid4()}
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty(**twin).save(by=scene.owner)


def test_it_asks_the_database_no_more_often_for_more_things(scene, django_assert_max_num_queries):
    adopt(scene, "N25-10")
    for _ in range(12):
        EquipmentFactory(site=scene.site, system=scene.system, kind="strainer",
                         variety="concentrate")  # fmt: skip
    with django_assert_max_num_queries(24):
        run(scene, why="first")
    assert Equipment.objects.count() == 12
    assert len(duties("N25-10")) == 12
