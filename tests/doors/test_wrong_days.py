"""A day that cannot be is dated by no clock: a record of it would move the yearly duty by years."""

from datetime import UTC, date, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from itm.actions.hand_in import hand_in
from itm.core.errors import Refused
from itm.doors.sheet_lines import moment
from itm.records import services
from itm.records.models import Visit
from tests.doors.phone import run_of, started, states, whole_day

FAR = timedelta(days=700)
START = {"reason": "proportioning test", "coordinator": "the owner"}


def begun(draft) -> datetime | None:
    return Visit.objects.get(pk=draft.visit.pk).started_at


def test_a_phone_two_years_ahead_dates_no_record(draft, phone):
    """Pitfall 44. Once sealed as of 2028 the duty of this year would have gone."""
    phone.now += FAR
    answers = phone.send(whole_day(phone, draft), ahead=FAR)
    assert "taken" not in states(answers)
    assert begun(draft) is None
    start = next(a for a in answers if a.code == "to_come")
    assert "2028" in start.sentence
    assert "2026" in start.sentence


def test_the_day_goes_in_once_its_times_are_put_right_by_the_clock_of_the_server(draft, phone):
    """What is offered beside each refusal is its moment less what the clock was ahead."""
    phone.now += FAR
    raws = whole_day(phone, draft)
    right = [(datetime.fromisoformat(raw["at"]) - FAR).isoformat() for raw in raws]
    answers = phone.send(raws, ahead=FAR)
    offered = [a.now.get("at") for a in answers if a.code == "to_come"]
    assert offered
    assert set(offered) <= set(right)
    again = [{**raw, "at": at} for raw, at in zip(raws, right, strict=True)]
    assert states(phone.send(again, ahead=FAR)) == {"taken"}
    draft.refresh_from_db()
    assert (draft.state, draft.tested_on) == ("handed_in", date(2026, 6, 15))
    assert draft.visit.device_clocks.get().ahead_s == FAR.total_seconds()


def test_twelve_hours_ahead_make_no_test_of_tomorrow(draft, phone):
    ahead = timedelta(hours=12)
    raw = phone.note("start_test_day", {"visit": draft.visit.key}, START)
    [answer] = phone.send([raw], ahead=ahead)
    assert (answer.state, answer.code, answer.place) == ("refused", "to_come", "started_at")
    assert datetime.fromisoformat(answer.now["at"]) == phone.now - ahead


def test_a_start_years_before_plan_and_arrival_is_for_a_person_to_settle(draft, phone):
    phone.note("start_test_day", {"visit": draft.visit.key}, START)["at"] = "2016-12-02T09:00:00Z"
    [answer] = phone.send()
    assert (answer.state, answer.code) == ("refused", "far_from_plan")
    assert "15 Jun 2026" in answer.sentence
    assert begun(draft) is None


def test_a_day_of_past_years_is_taken_where_its_visit_was_planned_for_it(scene, draft, phone):
    """A paper of years ago that is typed in: its visit says which day it was."""
    services.change_visit(
        actor=scene.contractor, visit=draft.visit, opened={}, planned_on=date(2019, 5, 3)
    )
    phone.note("start_test_day", {"visit": draft.visit.key}, START)["at"] = "2019-05-03T09:00:00Z"
    assert states(phone.send()) == {"taken"}


def test_a_phone_without_signal_for_long_dates_its_day_as_it_was(draft, phone):
    raw = phone.note("start_test_day", {"visit": draft.visit.key}, START)
    phone.now += timedelta(days=120)
    assert states(phone.send([raw])) == {"taken"}


def test_nothing_is_handed_in_of_a_day_to_come(draft, phone):
    """Whatever brought such a day there: what older releases took is still a draft somewhere."""
    phone.send(whole_day(phone, draft)[:-1])
    with pytest.raises(Refused, match="15 Jun 2026") as refused:
        hand_in(actor=phone.actor, key=draft.key, at=phone.now - timedelta(days=3))
    assert refused.value.code == "to_come"


# Out of the calendar ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "at", ["0001-01-01T02:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T10:00:00Z"]
)
@pytest.mark.parametrize("verb", ["add_notice", "start_test_day", "begin_check", "foam_seen"])
def test_no_moment_near_the_ends_of_the_calendar_is_kept(scene, draft, phone, verb, at):
    """One of them makes every page that shows it fail for everybody."""
    if verb == "foam_seen":
        started(phone, draft)
    of, put = {
        "add_notice": ({"visit": draft.visit.key}, {"told": "Owner"}),
        "start_test_day": ({"visit": draft.visit.key}, START),
        "begin_check": ({"tank": scene.tank.key}, {}),
        "foam_seen": ({"run": run_of(draft).key}, {}),
    }[verb]
    raw = phone.note(verb, of, put)
    raw["at"] = at
    [answer] = phone.send([raw])
    assert answer.state == "refused"
    assert answer.code in ("out_of_calendar", "to_come")
    assert answer.now["at"]


@pytest.mark.parametrize("told_at", ["0001-01-01T02:00", "9998-01-01T02:00"])
def test_nor_one_that_was_typed_even_by_a_device_of_that_year(draft, phone, told_at):
    raw = phone.note(
        "add_notice", {"visit": draft.visit.key}, {"told": "Owner", "told_at": told_at}
    )
    ahead = datetime(9999, 1, 1, tzinfo=UTC) - phone.now
    real, phone.now = phone.now, phone.now + ahead
    [answer] = phone.send([raw], ahead=phone.now - real)
    assert answer.code in ("out_of_calendar", "to_come")
    assert not draft.visit.notices.exists()


# Paper ------------------------------------------------------------------------------------


@pytest.fixture
def type_in(client, sign_in, scene, draft, time_machine):
    """Send the page of the day's sheet with these boxes alone."""
    time_machine.move_to(datetime(2026, 6, 16, 12, tzinfo=UTC), tick=False)
    sign_in(client, scene.contractor)
    url = reverse("type_in", args=[draft.visit.key])
    start = f"start_test_day.{draft.visit.key}"

    def send(day: str, at: str) -> str:
        boxes = {f"{start}.{name}": text for name, text in {**START, "at": at}.items()}
        answer = client.post(url, {"day": day, **boxes})
        assert answer.status_code == (302 if begun(draft) else 422)
        return unescape(answer.content.decode())

    return send


def test_a_sheet_is_of_no_day_to_come(draft, type_in):
    text = type_in("2062-06-15", "8:05")
    assert "15 Jun 2062 cannot be the day of a sheet" in text
    assert 'value="8:05"' in text


def test_a_sheet_of_a_past_day_is_no_wrong_clock(draft, type_in):
    type_in("2026-06-15", "8:05")
    assert not draft.visit.device_clocks.exists()


@pytest.mark.parametrize(
    ("text", "code"), [("1:30", "time_twice"), ("2:30", None), ("1:30+01:00", None)]
)
def test_a_time_that_the_clock_showed_twice_is_asked_for_with_its_offset(text, code):
    """25 October 2026: at two o'clock in Britain it was one again (common knowledge, and the IANA
    database)."""
    zone, night = ZoneInfo("Europe/London"), date(2026, 10, 25)
    if code is None:
        assert moment(text, night, zone).date() == night
        return
    with pytest.raises(Refused, match=r"01:30\+01:00") as refused:
        moment(text, night, zone)
    assert refused.value.code == code


def test_a_time_that_the_clock_never_showed_is_refused():
    with pytest.raises(Refused) as refused:
        moment("1:30", date(2026, 3, 29), ZoneInfo("Europe/London"))
    assert refused.value.code == "no_such_time"


# A second phone that is behind --------------------------------------------------------------------


def test_lines_ended_before_the_first_valve_moved_say_which_clocks_disagree(
    draft, phone, other_phone
):
    """Nine of ten were once taken so, and the last was refused for ever without a reason."""
    behind = timedelta(hours=-12)
    started(phone, draft)
    other_phone.now = phone.now + timedelta(hours=1) + behind
    lines = list(draft.visit.restoration_lines.all())
    raws = [
        other_phone.note("end_line", {"line": line.key}, {"outcome": "restored"}) for line in lines
    ]
    answers = other_phone.send(raws, ahead=behind)
    assert {(a.state, a.code, a.place) for a in answers} == {
        ("refused", "before_start", "ended_at")
    }
    assert phone.actor.person in answers[0].sentence
    again = [{**raw, "at": answer.now["at"]} for raw, answer in zip(raws, answers, strict=True)]
    moments = [datetime.fromisoformat(raw["at"]) for raw in again]
    assert moments == [datetime.fromisoformat(raw["at"]) - behind for raw in raws]
    assert states(other_phone.send(again, ahead=behind)) == {"taken"}
    draft.visit.refresh_from_db()
    assert draft.visit.restored_at == moments[-1]
