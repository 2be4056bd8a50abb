"""The stories that the demo promises are there, and they came about through the engine."""

import re
from datetime import datetime, timedelta
from decimal import Decimal
from io import StringIO
from itertools import pairwise
from random import Random

import pytest
from django.core.management import CommandError, call_command

from itm.accounts.models import Organisation, User
from itm.core import outbox
from itm.core.models import Change, Installation
from itm.demo.load import kind_of_database
from itm.demo.readings import Liquid
from itm.demo.scenario import Ages, days_of_work, scenario
from itm.findings import overdue
from itm.findings.models import AuthorityVisit, Deficiency, Order, OverdueRule, Question, Step
from itm.records.chain import verify
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    InspectionLine,
    ProportioningTest,
    Reading,
    RestorationLine,
    Seal,
    Visit,
)
from itm.registry.models import (
    Attachment,
    Certificate,
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Relocation,
    Site,
    SiteAuthority,
    Store,
)
from itm.registry.models.equipment import VARIETIES
from itm.registry.queries_stores import held, with_book
from itm.schedule.models import Duty
from tests.demo.conftest import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("loaded")]


def years_of(site: str, tag: str) -> list[ProportioningTest]:
    rows = ProportioningTest.objects.filter(site__name=site, proportioner__tag=tag)
    return list(rows.order_by("tested_on", "pk"))


def percents(test: ProportioningTest) -> dict[str, float]:
    evaluation = test.evaluations.last()
    assert evaluation is not None
    return {point["name"]: point["percent"] for point in evaluation.result["flow_points"]}


def test_world_is_as_large_as_promised() -> None:
    kinds = [Organisation.objects.filter(kind=kind).count() for kind in Organisation.Kind.values]
    assert kinds >= [3, 2, 1]
    assert Site.objects.count() >= 5
    assert len(set(Site.objects.values_list("time_zone", flat=True))) >= 4
    assert FoamSystem.objects.count() >= 10
    assert len(set(FoamSystem.objects.values_list("kind", flat=True))) >= 5
    assert len(set(Proportioner.objects.values_list("kind", flat=True))) >= 7


def test_equipment_of_many_kinds_stands_at_systems_tanks_and_sites_alone() -> None:
    kinds = set(Equipment.objects.values_list("kind", flat=True))
    assert {"valve", "strainer", "concentrate_pump", "discharge", "actuation", "drainage"} <= kinds
    valves = Equipment.objects.filter(kind="valve")
    assert set(valves.values_list("variety", flat=True)) == set(VARIETIES["valve"])
    assert {"open", "closed", "as_noted"} <= set(valves.values_list("normal_position", flat=True))
    places = [{"tank": None}, {"system": None}, {"system": None, "tank": None}]
    assert all(Equipment.objects.filter(**place).exists() for place in places)
    assert Equipment.objects.count() == sum(
        len(things)
        for site in scenario()["equipment"].values()
        for things in (site["site"], *site["tanks"].values(), *site["systems"].values())
    )


def test_a_move_two_authorities_and_drawn_pictures_are_there() -> None:
    move = Relocation.objects.get()
    assert (move.start, move.end) == ("Truck loading rack", "Tank 12 foam chambers")
    assert move.thing.stands_at == move.to_system  # type: ignore[union-attr]
    scopes = SiteAuthority.objects.filter(site=move.site).values_list("scope", flat=True)
    assert set(scopes) == {"fire", "environment"}
    targets = [type(row.target) for row in Attachment.objects.order_by("pk")]
    assert targets == [Certificate, ConcentrateLot, Equipment, Site]
    assert all(row.preview for row in Attachment.objects.all())


def test_drums_went_into_tanks_and_waste_waits_to_be_taken_away() -> None:
    """Hand-made sums: 800 - 250 - 60 L of supply, 3050 + 240 - 3050 L of what was drained, and of
    what contains PFAS 1350 - 1000 L."""
    left = {
        (store.lot.batch, store.standing): round(1000 * held(store))
        for store in with_book(Store.objects.all())
    }
    assert left == {
        ("OT-1904", "supply"): 490,
        ("OT-0711", "waste"): 240,
        ("HK-22-08", "waste"): 350,
    }


def test_one_proportioner_drifts_until_it_is_rich() -> None:
    years = years_of("Pedra Alta tank farm", "PR-1")
    design = [percents(test)["design"] for test in years]
    assert years[-1].tested_on - years[0].tested_on > timedelta(days=2900)
    assert [test.limits for test in years] == ["in band"] * 8 + ["rich"]
    assert design[-1] > 3.9
    assert all(later - earlier > -0.05 for earlier, later in pairwise(design))


def test_one_failure_was_repaired_on_the_same_visit() -> None:
    lean = next(t for t in years_of("Veldwick works", "PR-41") if t.limits == "lean")
    left = lean.visit.tests.get(phase="as_left")
    assert (lean.phase, left.limits, left.certainty) == ("as_found", "in band", "settled")
    assert left.adjusted
    retest = Duty.objects.get(cause="retest", proportioner=lean.proportioner)
    assert retest.done_by_record == left.key


def test_one_result_is_undecided() -> None:
    last = years_of("Veldwick works", "PR-43")[-1]
    assert (last.state, last.limits, last.certainty) == ("sealed", "in band", "undecided")
    assert str(last.bench.instrument.resolution.normalize()) == "0.0001"


def test_one_site_has_its_periods_of_keeping_and_nothing_is_past_them() -> None:
    site = Site.objects.get(name="Pedra Alta tank farm")
    rules = site.keeping_periods.filter(ended_on=None).values_list("rule__code", flat=True)
    assert set(rules) == {
        "one-year-after-the-next", "life-of-the-system", "eu-pfas-plan", "waste-papers",
    }  # fmt: skip
    assert not site.keeping_decisions.exists()


def test_every_method_has_a_sealed_test() -> None:
    sealed = ProportioningTest.objects.filter(state="sealed")
    assert set(sealed.values_list("method", flat=True)) == set(ProportioningTest.Method.values)


def test_one_tank_is_diluted_and_elsewhere_standards_and_concentrate_agree() -> None:
    verdicts = {
        (test.site.name, test.proportioner.tag): test.evaluations.latest("pk").result["mixing"]
        for test in ProportioningTest.objects.filter(
            state="sealed", bench__instrument__method="refractive_index"
        ).order_by("tested_on")
    }
    found = {place: one["verdict"] for place, one in verdicts.items()}
    diluted = verdicts.pop(("Vale Fundo depot", "PR-1"))
    assert diluted["verdict"] == "standards too strong"
    low, high = diluted["tank_share"]["interval"]
    assert low < 0.9 < high  # the share that the scenario says is left
    assert set(found.values()) == {"agree", "standards too strong"}
    assert {one["verdict"] for one in verdicts.values()} == {"agree"}


def test_nobody_came_in_one_year() -> None:
    told = scenario()
    racks = [
        d.begins_at
        for d in days_of_work(told, Ages(NOW))
        if (d.site, d.tag) == ("Pedra Alta tank farm", "PR-2")
    ]
    gaps = [later - earlier for earlier, later in pairwise(racks)]
    assert sum(gap > timedelta(days=700) for gap in gaps) == 1


def test_work_stands_at_every_step() -> None:
    running = Visit.objects.get(started_at__gt=NOW - timedelta(hours=4))
    assert running.impaired
    assert running.restoration_lines.filter(outcome="").exists()
    draft = running.tests.get()
    assert draft.state == "draft"
    read = Reading.objects.filter(bottle__bench=draft.bench)
    assert read.filter(bottle__role="standard").exists()
    assert read.filter(bottle__role="sample").count() == 2
    assert max(read.values_list("read_at", flat=True)) <= NOW
    assert ProportioningTest.objects.filter(state="handed_in").count() == 1
    sent_back = ProportioningTest.objects.get(moves__verb="send_back")
    assert sent_back.state == "draft"
    amendment = ProportioningTest.objects.get(amends__isnull=False)
    assert (amendment.state, amendment.amends.state) == ("sealed", "sealed")
    assert percents(amendment) != percents(amendment.amends)


def test_a_line_left_out_keeps_the_impairment_open() -> None:
    line = RestorationLine.objects.get(outcome="left_out")
    assert line.visit.impaired
    assert line.handed_to


def test_plans_lie_ahead() -> None:
    planned = Visit.objects.filter(started_at=None)
    ahead = [(v.planned_on - NOW.date()).days for v in planned]
    assert ahead == [12, 3, 0]
    prepared = ProportioningTest.objects.filter(visit__in=planned)
    assert [(test.method, test.state) for test in prepared] == [("draw_down", "draft")]


def test_chains_of_the_demo_verify() -> None:
    assert Seal.objects.count() > 20
    assert list(verify()) == []


def test_every_change_has_a_person_or_the_command_but_what_the_clock_found() -> None:
    by_clock = Change.objects.exclude(via="command").order_by("pk")
    assert list(by_clock.values_list("via", "model", "verb")) == [
        ("sweep", "findings.Deficiency", "created"), ("sweep", "findings.Step", "created"),
    ]  # fmt: skip
    assert not Change.objects.filter(person="", organisation="").exists()


def test_reports_of_the_newest_seals_come_first() -> None:
    jobs = list(outbox.waiting().order_by("-pk"))  # as they are claimed
    assert {job.kind for job in jobs} == {"render_report"}  # and nobody is mailed
    seals = {
        str(seal.record.key): seal.sealed_at.date()
        for seal in Seal.objects.select_related("test", "concentrate_check")
    }
    when = [seals[job.payload["record_key"]] for job in jobs]
    assert len(when) == len(seals)
    assert when == sorted(when, reverse=True)
    assert outbox.claim() == jobs[0]


def test_people_are_invented_and_have_no_real_address() -> None:
    addresses = User.objects.values_list("email", flat=True)
    assert all(re.fullmatch(r"[a-z.]+@example\.org", address) for address in addresses)
    assert "invented" in scenario()["about"][0]
    # So that a page or a printed report of the demo says it too, wherever it ends up.
    assert all("(invented)" in name for name in Organisation.objects.values_list("name", flat=True))


def test_second_run_changes_nothing() -> None:
    before = Change.objects.count()
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out)
    assert Change.objects.count() == before
    assert Visit.objects.filter(started_at=None).count() == 3
    for words in ("owner@example.org", "contractor@example.org", "inspector@example.org"):
        assert words in out.getvalue()
    assert scenario()["password"] in out.getvalue()


def test_people_can_sign_in_with_the_password_that_is_printed() -> None:
    for address in ("owner@example.org", "contractor@example.org", "inspector@example.org"):
        user = User.objects.get(email=address)
        assert user.check_password(scenario()["password"])
        assert user.memberships.exists()


def test_interrupted_load_is_told_from_a_finished_one(loaded: datetime) -> None:
    assert kind_of_database() == "demo"
    Installation.objects.all().delete()
    assert kind_of_database() == "other"
    with pytest.raises(CommandError, match="holds something else"):
        call_command("demo", no_serve=True)


def test_a_display_shows_its_own_steps() -> None:
    instrument = Instrument(resolution=Decimal("0.0001"), temperature_compensated=False)
    water = Liquid("refractive_index", 1.33300, 3.7e-4, -1e-4)
    shown = water.shown(0.0, Decimal("20.0"), instrument, Random(1))
    assert re.fullmatch(r"1\.33\d\d", shown)


def test_a_programme_is_adopted_and_its_rounds_leave_their_marks() -> None:
    site = Site.objects.get(name="Cais Novo jetty")
    adopted = site.adoptions.get()
    assert adopted.confirmations.count() == 3
    outcomes = set(InspectionLine.objects.values_list("outcome", flat=True))
    assert outcomes == {"in_order", "fault", "not_possible"}
    looked = Duty.objects.filter(site=site, requirement__task="inspection", withdrawn_on=None)
    assert looked.exclude(done_on=None).exists()
    assert looked.filter(done_on=None, stands__in=["open", "due", "overdue"]).exists()


def test_concentrate_was_checked_over_the_years_and_one_tank_is_diluted() -> None:
    sealed = ConcentrateCheck.objects.filter(state="sealed")
    assert sealed.count() == 7
    last = sealed.filter(tank__tag="VF-1").latest("checked_on")
    assert (last.strength, last.layers) == ("diluted", "stratified")
    again = Duty.objects.get(tank=last.tank, cause="retest", done_on=None, withdrawn_on=None)
    assert again.counts_from == last.checked_on


def test_one_laboratory_has_not_answered_yet() -> None:
    waiting = ConcentrateSample.objects.filter(sent_on__isnull=False, report=None)
    assert {sample.concentrate_check.tank.tag for sample in waiting} == {"CT-2"}
    assert all(sample.under_way for sample in waiting)


def test_a_repair_of_the_day_closes_what_was_lean() -> None:
    lean = Deficiency.objects.filter(cause="lean")
    assert {row.spot for row in lean} == {"minimum", "design"}
    for row in lean:
        shown = row.fixed_by_test
        assert shown is not None
        assert (shown.visit_id, shown.phase) == (row.test.visit_id, "as_left")  # type: ignore[union-attr]
        assert row.closed_at is not None
        assert row.closed_at - row.opened_at < timedelta(days=7)
        assert not row.steps.filter(verb="proposed").exclude(test=shown).exists()


def test_somebody_sees_to_everything_that_is_wrong() -> None:
    """What was measured too, and that the concentrate no longer lasts is news with the rich result,
    not a finding of years that nobody looked at."""
    there = Deficiency.objects.filter(closed_at=None)
    assert set(there.values_list("cause", flat=True)) >= {"rich", "supply", "check", "inspection"}
    assert [row.words for row in there if not row.responsible or row.target_on is None] == []
    supply = there.get(cause="supply")
    rich = there.get(cause="rich")
    assert (supply.test, supply.proportioner) == (rich.test, rich.proportioner)
    assert supply.found_on == years_of("Pedra Alta tank farm", "PR-1")[-1].tested_on


def test_one_owner_says_that_overdue_is_a_deficiency_and_one_duty_shows_it() -> None:
    """The clock finds it from the day on which it was said, and nobody is named."""
    rule = OverdueRule.objects.get()
    row = Deficiency.objects.get(cause="overdue")
    duty = row.duty
    assert duty is not None
    assert (row.site, duty.requirement, row.severity) == (rule.site, rule.requirement, 3)
    assert duty.latest_on < rule.starts_on == row.found_on
    assert row.closed_at is None
    assert (row.opened_by, row.organisation) == ("the system", None)
    before = Step.objects.count()
    overdue.sweep(NOW)
    assert Step.objects.count() == before


def test_an_authority_came_by_itself_and_ordered_what_it_saw() -> None:
    [seen] = AuthorityVisit.objects.all()
    assert [order.site for order in seen.orders.all()] == [seen.site]
    assert "(invented)" in seen.organisation.name


def test_an_authority_asks_and_orders() -> None:
    """One question waits for an answer, one for the authority, one is settled."""
    stand = {(row.answers.exists(), row.closed_at is not None) for row in Question.objects.all()}
    assert stand == {(False, False), (True, False), (True, True)}
    assert {row.deficiency.site.name for row in Order.objects.all() if row.deficiency} == {
        "Pedra Alta tank farm", "Vale Fundo depot",
    }  # fmt: skip
