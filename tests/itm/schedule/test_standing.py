"""The standing stored with a duty: right with every write, in no history, as its dates say."""

from datetime import UTC, date, datetime, timedelta
from io import StringIO
from uuid import uuid4

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction

from itm.accounts.actor import Actor, system
from itm.actions import retire as retiring
from itm.actions.change_site import change_site
from itm.core.models import Change
from itm.schedule.due import Result, changes_on, standing
from itm.schedule.models import Duty
from itm.schedule.services import refresh, start_duties
from itm.schedule.standing import WAYS, stand
from tests.deeds import tested
from tests.factories import TODAY

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def begun(scene, on: date) -> Duty:
    """The scene's device tested on that day: nine months to the window, twelve, fifteen."""
    result = Result(on, "in band", "settled", "periodic", "as_found", uuid4())
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    refresh(actor=scene.owner, proportioner=scene.proportioner, results=[result])
    return Duty.objects.get(done_on=None)


@pytest.mark.parametrize(
    ("on", "stands", "changes"),
    [
        (date(2026, 6, 1), "ahead", date(2027, 3, 1)),
        (date(2025, 9, 15), "open", date(2026, 9, 15)),
        (date(2025, 6, 15), "due", date(2026, 9, 16)),
        (date(2025, 3, 15), "due", date(2026, 6, 16)),
        (date(2025, 3, 14), "overdue", None),
    ],
)
def test_a_written_duty_says_where_it_stands_and_until_when(scene, on, stands, changes):
    duty = begun(scene, on)
    assert (duty.stands, duty.stands_changes_on) == (stands, changes)


def test_a_done_cycle_is_at_rest(scene):
    begun(scene, date(2026, 6, 1))
    done = Duty.objects.exclude(done_on=None).get()
    assert (done.stands, done.stands_changes_on) == ("at_rest", None)


def test_the_next_change_is_the_first_day_on_which_the_standing_is_another():
    dates = (date(2024, 2, 29), date(2024, 5, 31), date(2024, 8, 31))
    day = date(2024, 1, 1)
    while (change := changes_on(standing(*dates, day).name, *dates)) is not None:
        held = standing(*dates, day).name
        assert standing(*dates, change - timedelta(days=1)).name == held
        assert standing(*dates, change).name != held
        day = change
    assert day == date(2024, 9, 1)


def test_the_history_of_a_duty_does_not_speak_of_its_standing(scene):
    duty = begun(scene, date(2026, 6, 1))
    before = Change.objects.count()
    stand(duty, date(2027, 3, 1))
    duty.save(by=scene.owner)
    assert Change.objects.count() == before
    duty.refresh_from_db()
    assert duty.stands == "open"
    for change in Change.objects.filter(model="schedule.Duty"):
        assert not {"stands", "stands_changes_on"} & {*change.before, *change.after}


@pytest.mark.parametrize("what", ["proportioner", "system"])
def test_retired_equipment_rests_and_stands_again_when_taken_back(scene, what):
    tested(scene, on=date(2025, 9, 15))
    duty = Duty.objects.get(done_on=None, proportioner=scene.proportioner)
    row = getattr(scene, what)
    if what == "system":
        retiring.retire(actor=scene.owner, row=scene.proportioner, on=TODAY, today=TODAY)
    retiring.retire(actor=scene.owner, row=row, on=TODAY, today=TODAY)
    duty.refresh_from_db()
    assert (duty.stands, duty.stands_changes_on) == ("at_rest", None)
    retiring.take_back(actor=scene.owner, row=row, at=NOW)
    if what == "system":
        duty.refresh_from_db()
        assert duty.stands == "at_rest"  # its proportioner is still retired
        scene.proportioner.refresh_from_db()
        retiring.take_back(actor=scene.owner, row=scene.proportioner, at=NOW)
    duty.refresh_from_db()
    assert (duty.stands, duty.stands_changes_on) == ("open", date(2026, 9, 15))


def test_a_site_moved_to_another_zone_stands_by_its_new_clock(scene):
    """At 23:30 UTC on 14 June it is the 15th in Auckland and still the 14th in Lisbon's evening."""
    duty = begun(scene, date(2025, 9, 15))
    assert duty.window_opens_on == TODAY
    now = datetime(2026, 6, 14, 22, 30, tzinfo=UTC)
    owner = Actor(scene.owner.user, scene.owner.organisation, "manager", now.date(), at=now)
    for zone, stands in (("Europe/London", "ahead"), ("Pacific/Auckland", "open")):
        change_site(actor=owner, site=scene.site, time_zone=zone)
        duty.refresh_from_db()
        assert duty.stands == stands
    change_site(actor=owner, site=scene.site, time_zone="Pacific/Honolulu")
    duty.refresh_from_db()
    assert duty.stands == "ahead"


@pytest.mark.parametrize(
    "wrong",
    [
        {"stands": ""},
        {"stands": "ahead"},
        {"stands": "overdue"},
        {"stands": "at_rest"},
        {"stands_changes_on": date(2026, 9, 14)},
        {"stands_changes_on": None},
        {"done_on": TODAY},
        {"withdrawn_on": TODAY},
    ],
)
def test_the_database_refuses_a_standing_that_its_dates_contradict(scene, wrong):
    duty = begun(scene, date(2025, 9, 15))
    assert duty.stands == "open"
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty._base_manager.filter(pk=duty.pk).update(**wrong)


def test_the_command_finds_and_mends_what_was_changed_past_the_rules(scene, time_machine):
    time_machine.move_to(datetime(2026, 6, 15, 12, tzinfo=UTC))
    duty = begun(scene, date(2025, 9, 15))
    assert said("0 differ")
    Duty._base_manager.filter(pk=duty.pk).update(stands="overdue", stands_changes_on=None)
    with pytest.raises(SystemExit) as left:
        said()
    assert left.value.code == 1
    assert "stored overdue, open by its dates" in said("1 put right", "--mend")
    duty.refresh_from_db()
    assert (duty.stands, duty.stands_changes_on) == ("open", date(2026, 9, 15))
    assert said("0 differ")


def said(words: str = "", *options: str) -> str:
    out = StringIO()
    call_command("verify_standing", *options, stdout=out)
    assert words in out.getvalue()
    return out.getvalue()


def test_the_systems_own_deeds_have_the_day_of_the_site_too():
    now = datetime(2026, 6, 14, 22, 30, tzinfo=UTC)
    assert system(now.date(), at=now).date_at("Pacific/Auckland") == date(2026, 6, 15)
    assert system(now.date()).date_at("Pacific/Auckland") == date(2026, 6, 14)


def test_whatever_a_duty_hangs_on_is_asked_whether_it_is_retired():
    """A new kind of thing must be named in WAYS, with the system that it hangs on."""
    wanted = set()
    for field in Duty._meta.concrete_fields:
        to = field.related_model
        names = {one.name for one in to._meta.concrete_fields} if to else set()
        if "retired_on" in names:
            wanted.add(field.name)
            wanted |= {f"{field.name}__system"} if "system" in names else set()
    assert set(WAYS) == wanted
