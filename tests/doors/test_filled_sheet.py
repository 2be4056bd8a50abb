"""A filled sheet typed in: in the sheet's order, line by line, and nothing lost."""

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from itm.core.errors import Refused
from itm.doors.day import day_of
from itm.doors.filled_sheet import Sheet
from itm.doors.sheet_lines import moment
from itm.records import discharge
from itm.records.models import Bottle, Reading, Visit
from tests.deeds import display, tested
from tests.direct_deeds import direct_day, measured_test

NOON = datetime(2026, 6, 15, 16, tzinfo=UTC)


@pytest.fixture
def page(scene, draft, sign_in, time_machine):
    """The page as a browser holds it: what stands in its boxes, and a way to send it."""
    time_machine.move_to(NOON, tick=False)
    return Page(sign_in(Client(), scene.contractor), draft)


class Page:
    def __init__(self, client, test):
        self.client, self.test = client, test
        self.url = reverse("type_in", args=[test.visit.key])
        self.open()

    def open(self):
        self.read(self.client.get(self.url))

    def read(self, answer):
        self.status, self.text = answer.status_code, answer.content.decode()
        form = self.text.split('<form method="post" class="typing"')[1]
        self.boxes = {
            name: value.replace("&#x27;", "'")
            for tag in re.findall(r"<input[^>]*>", form)
            for name in re.findall(r'name="([^"]*)"', tag)
            for value in [(re.findall(r'value="([^"]*)"', tag) or [""])[0]]
        }
        areas = re.findall(r'<textarea name="([^"]+)"[^>]*>(.*?)</textarea>', form, re.S)
        self.boxes |= {name: text.lstrip("\n") for name, text in areas}
        for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', form, re.S):
            self.boxes[name] = (re.findall(r'value="([^"]*)" selected', options) or [""])[0]
        return self

    def names(self, start: str, on: object = None) -> list[str]:
        """Lines of a verb under a row, in the page's order, without what is done."""
        return [
            name.removesuffix(".on")
            for name, value in self.boxes.items()
            if name.startswith(start) and name.endswith(".on") and on in (None, value)
        ]

    def put(self, line: str, **texts: str):
        for name, text in texts.items():
            assert f"{line}.{name}" in self.boxes, (line, name)
            self.boxes[f"{line}.{name}"] = text

    def send(self):
        answer = self.client.post(self.url, self.boxes)
        if answer.status_code == 302:
            answer = self.client.get(self.url)
        return self.read(answer)


def fill(page):
    """The whole sheet, as it is written on the day."""
    test, visit = page.test, page.test.visit
    [line, *_] = page.names("add_notice.")
    page.put(line, told="Monitoring company", how="telephone", at="8:00")
    page.put(
        f"start_test_day.{visit.key}", reason="annual proportioning test",
        coordinator="the owner's duty engineer", at="8.05",
    )  # fmt: skip
    hour, percent = 9, {"minimum": 3.2, "design": 3.4}
    samples = {}
    for run in test.runs.select_related("flow_point"):
        number = run.flow_point.flow_typed.split()[0]
        page.put(
            f"note_run.{run.key}", inlet_pressure="7.5 bar", solution_flow=number,
            flow_source="meter",
        )  # fmt: skip
        page.put(f"foam_seen.{run.key}", at=f"{hour}:00:00")
        lines = page.names("add_sample.", str(run.key))[:3]
        for count, line in enumerate(lines):
            page.put(line, at=f"{hour}:0{count + 1}:00")
            samples[line.split(".")[1]] = percent[run.flow_point.name]
        hour += 1
    for count, step in enumerate(test.flush_steps.all()):
        page.put(f"flush_done.{step.key}", at=f"11:{count:02}")
    for count, line in enumerate(visit.restoration_lines.all()):
        page.put(f"end_line.{line.key}", outcome="restored", at=f"12:{count:02}")
    day = day_of(page.actor, visit.key)
    [bench] = day["benches"]
    first = True
    for one in bench["bottles"]:
        strength = Decimal(0)
        if one["role"] == "standard":
            page.put(
                f"set_volumes.{one['key']}", concentrate_ml=one["recipe"]["concentrate"],
                water_ml=one["recipe"]["water"],
            )  # fmt: skip
            strength = Decimal(one["target_percent"])
        elif one["role"] == "concentrate":
            continue
        [line, *_] = page.names("add_reading.", one["key"])
        value = display(strength, test.bench.instrument.resolution)
        page.put(line, value=value, temperature="20.0", **({"at": "14:00"} if first else {}))
        first = False
    for key, strength in samples.items():
        [line, *_] = page.names("add_reading.", key)
        page.put(
            line, value=display(strength, test.bench.instrument.resolution), temperature="20.0"
        )


@pytest.fixture
def filled(page, scene):
    page.actor = scene.contractor
    fill(page)
    return page


def test_a_whole_sheet_goes_in_at_once_and_is_judged_as_if_typed_on_the_pages(scene, filled):
    filled.send()
    assert filled.status == 200, re.findall(r'class="error"[^>]*>([^<]+)', filled.text)
    visit = Visit.objects.get()
    assert visit.started_at == datetime(2026, 6, 15, 8, 5, tzinfo=ZoneInfo(visit.site.time_zone))
    assert visit.restored_at is not None
    run = filled.test.runs.first()
    assert (run.inlet_pressure_typed, run.solution_flow_typed.split()[1]) == ("7.5 bar", "L/min")
    assert Bottle.objects.filter(role="sample").count() == 6
    assert "lines saved" in filled.text
    count = Reading.objects.count()
    filled.send()
    assert "Nothing new was typed" in filled.text
    assert Reading.objects.count() == count
    answer = filled.client.post(reverse("hand_in", args=[filled.test.key]), {"once": str(uuid4())})
    assert answer.status_code == 302
    filled.test.refresh_from_db()
    assert (filled.test.state, filled.test.limits) == ("handed_in", "in band")
    other = tested(scene, {"minimum": 3.2, "design": 3.4}, until="handed_in")
    percents = [
        [one["percent"] for one in test.evaluations.get().result["flow_points"]]
        for test in (filled.test, other)
    ]
    assert percents[0] == pytest.approx(percents[1], abs=0.2)


def test_the_same_page_sent_ten_times_is_one_day(filled):
    for _ in range(3):
        filled.client.post(filled.url, filled.boxes)
    assert Bottle.objects.filter(role="sample").count() == 6
    keys = [name.split(".")[1] for name in filled.names("add_reading.")]
    assert Reading.objects.filter(key__in=keys).count() == Reading.objects.count() > 6


def test_a_line_that_cannot_be_taken_comes_back_with_its_sentence_and_its_text(filled):
    run = filled.test.runs.first()
    line = filled.test.visit.restoration_lines.first()
    filled.put(f"note_run.{run.key}", inlet_pressure="seven")
    filled.put(f"foam_seen.{run.key}", at="25:99")
    filled.put(f"end_line.{line.key}", outcome="restored", at="")
    reading = filled.names("add_reading.")[0]
    filled.put(reading, value="1.5000000001")
    filled.send()
    assert filled.status == 422
    assert filled.boxes[f"note_run.{run.key}.inlet_pressure"] == "seven"
    assert filled.boxes[f"foam_seen.{run.key}.at"] == "25:99"
    assert filled.boxes[f"{reading}.value"] == "1.5000000001"
    for sentence in ("“25:99” is no time of day", "Type the time that stands beside it"):
        assert sentence in filled.text
    assert Bottle.objects.filter(role="sample").count() == 6  # the others are saved all the same
    filled.put(f"note_run.{run.key}", inlet_pressure="7.5")
    filled.put(f"foam_seen.{run.key}", at="9:00")
    filled.put(f"end_line.{line.key}", at="12:00")
    filled.put(reading, value="1.33300")
    filled.send()
    assert filled.status == 200, re.findall(r'class="error"[^>]*>([^<]+)', filled.text)
    run.refresh_from_db()
    assert run.inlet_pressure_typed == "7.5 bar"


def test_what_another_wrote_meanwhile_stays_and_only_the_same_box_is_asked(
    scene, page, other_phone
):
    page.actor = scene.contractor
    run = page.test.runs.first()
    page.put(f"start_test_day.{page.test.visit.key}", reason="test", coordinator="she", at="8:05")
    page.put(f"note_run.{run.key}", inlet_pressure="7.5 bar", level_before="900 L")
    other_phone.say(
        "note_run", {"run": run.key}, {"inlet_pressure": "7.1 bar", "level_after": "800 L"}
    )
    page.send()
    assert page.status == 422
    assert 'stands now: <b class="num">7.1 bar</b>' in page.text
    assert page.boxes[f"note_run.{run.key}.inlet_pressure"] == "7.5 bar"
    run.refresh_from_db()
    assert (run.inlet_pressure_typed, run.level_after_typed) == ("7.1 bar", "800 L")
    page.send()  # seen, and sent again: one's own goes in its place
    run.refresh_from_db()
    assert (run.inlet_pressure_typed, run.level_before_typed, run.level_after_typed) == (
        "7.5 bar", "900 L", "800 L",
    )  # fmt: skip


def test_what_another_did_meanwhile_and_was_typed_too_is_not_dropped_in_silence(filled, scene):
    filled.put(f"start_test_day.{filled.test.visit.key}", at="8:05")
    filled.send()
    run = filled.test.runs.first()
    page = Page(filled.client, filled.test)
    discharge.take_back_foam(actor=scene.contractor, run=run)
    page.open()
    page.put(f"foam_seen.{run.key}", at="9:10")
    discharge.foam_seen(
        actor=scene.contractor, run=run, at=datetime(2026, 6, 15, 9, 0, 30, tzinfo=UTC)
    )
    page.send()
    assert page.status == 422
    assert "Nothing was overwritten" in page.text
    assert page.boxes[f"foam_seen.{run.key}.at"] == "9:10"


def test_the_lines_stand_in_the_order_of_the_sheet(page, scene):
    titles = [
        part.title[:2] for part in Sheet(day_of(scene.contractor, page.test.visit.key)).parts()
    ]
    assert titles == sorted(titles)
    assert {title[0] for title in titles} == set("1234567")


@pytest.mark.parametrize(
    ("text", "clock"), [("9:05", (9, 5, 0)), ("14.05", (14, 5, 0)), ("14:05:30", (14, 5, 30))]
)
def test_a_time_of_day_is_on_the_clock_of_the_site(text, clock):
    zone = ZoneInfo("America/Denver")
    found = moment(text, date(2026, 7, 1), zone)
    assert (found.hour, found.minute, found.second) == clock
    assert found.utcoffset() == datetime(2026, 7, 1, tzinfo=zone).utcoffset()


@pytest.mark.parametrize("text", ["noon", "25:00", "9", "9:60", "1:2:3:4", ":"])
def test_what_is_no_time_of_day_is_refused_with_an_example(text):
    with pytest.raises(Refused, match="14:05"):
        moment(text, date(2026, 7, 1), ZoneInfo("UTC"))


def test_a_day_that_is_none_saves_nothing(filled):
    filled.boxes["day"] = "15 June"
    filled.send()
    assert filled.status == 422
    assert "is no day" in filled.text
    assert Reading.objects.count() == 0
    assert filled.boxes[f"start_test_day.{filled.test.visit.key}.at"] == "8.05"


def test_outlets_read_by_pitot_are_typed_one_a_line_and_make_the_flow(page):
    """NFPA 291, Q = 29.84 c d² √p (US gpm, in, psi): 1.5 in, 0.9 and 30.46 psi, which is
    38.1 mm and 2.1 bar, give 333.5 US gpm, or 1262 L/min; two of them twice that."""
    run = page.test.runs.first()
    line = f"note_run.{run.key}"
    page.put(line, outlets="38.1 mm; 0.90; 2.1 bar\r\n\r\n38.1 mm; 0.90; 2.1 bar\r\n")
    page.send()
    run.refresh_from_db()
    assert run.outlets == ["38.1 mm; 0.90; 2.1 bar"] * 2
    assert run.solution_flow * 60_000 == pytest.approx(2 * 1262, rel=0.002)
    assert page.boxes[f"{line}.outlets"].split() == " ".join(run.outlets).split()
    page.send()  # a browser ends lines in its own way, and nothing was changed by that
    page.put(line, outlets="38.1 mm; 0.90")
    assert "Outlet 1" in page.send().text
    assert page.boxes[f"{line}.outlets"] == "38.1 mm; 0.90"
    run.refresh_from_db()
    assert len(run.outlets) == 2


def test_how_the_bench_was_read_goes_in_with_the_sheet(page):
    line = f"note_bench.{page.test.key}"
    page.put(
        line, system_water_source="fire tank", compensation="on", bottles_were="own",
        samples_kept="closed",
    )  # fmt: skip
    page.send()
    bench = page.test.bench
    bench.refresh_from_db()
    assert (bench.system_water_source, bench.compensation) == ("fire tank", "on")
    assert (bench.bottles_were, bench.samples_kept) == ("own", "closed")
    assert page.boxes[f"{line}.compensation"] == "on"


METERED = {
    "concentrate_fitted": "FT-3", "concentrate_accuracy": "1", "meter_in": "solution",
    "second_fitted": "FT-7", "second_accuracy": "2 %",
}  # fmt: skip


@pytest.fixture
def direct_page(scene, sign_in, time_machine):
    """The page of a day with one test by two flows, in the middle of that day."""
    time_machine.move_to(NOON, tick=False)
    day = direct_day(scene, "two_flows")
    page = Page(sign_in(Client(), scene.contractor), day.test)
    page.actor = scene.contractor
    return page


def fill_direct(page):
    """By two meters: 19.2 of 600 and 64.6 of 1900 L/min, the second by its totaliser."""
    page.put(f"note_setup.{page.test.key}", **METERED)
    for run in page.test.runs.select_related("flow_point"):
        line = f"note_measured.{run.key}"
        page.put(line, concentrate_source="meter", second_source="meter")
        if run.flow_point.name == "minimum":
            page.put(f"note_run.{run.key}", solution_flow="600 L/min", flow_source="meter")
            page.put(line, concentrate_read="rate", concentrate_flow="19.2")
        else:
            page.put(
                line, duration="2:30", concentrate_read="totaliser", concentrate_start="1000.0 L",
                concentrate_end="1161.5 L", second_read="rate", second_flow="1900 L/min",
            )  # fmt: skip
    for count, step in enumerate(page.test.flush_steps.all()):
        page.put(f"flush_done.{step.key}", at=f"11:{count:02}")
    for count, line in enumerate(page.test.visit.restoration_lines.all()):
        page.put(f"end_line.{line.key}", outcome="restored", at=f"12:{count:02}")


def test_a_sheet_of_a_direct_test_goes_in_at_once_and_is_judged_as_on_its_page(scene, direct_page):
    fill_direct(direct_page)
    direct_page.send()
    assert direct_page.status == 200, re.findall(r'class="error"[^>]*>([^<]+)', direct_page.text)
    run = direct_page.test.runs.get(flow_point__name="design")
    assert run.direct.duration == 150
    assert run.solution_flow_typed == "1900 L/min"
    setup = direct_page.test.direct
    setup.refresh_from_db()
    assert (setup.concentrate_accuracy_typed, setup.second_accuracy_typed) == ("1 %", "2 %")
    direct_page.send()
    assert "Nothing new was typed" in direct_page.text
    hand_in = reverse("hand_in", args=[direct_page.test.key])
    assert direct_page.client.post(hand_in, {"once": str(uuid4())}).status_code == 302
    direct_page.test.refresh_from_db()
    assert (direct_page.test.state, direct_page.test.limits) == ("handed_in", "in band")
    points = direct_page.test.evaluations.get().result["flow_points"]
    # By arithmetic: 19.2/600, and 161.5 L in 150 s, which is 64.6 L/min, of 1900.
    assert {one["name"]: one["percent"] for one in points} == pytest.approx(
        {"minimum": 100 * 19.2 / 600, "design": 100 * 64.6 / 1900}
    )


def test_slips_on_a_sheet_of_a_direct_test_come_back_with_their_text(direct_page):
    fill_direct(direct_page)
    runs = {run.flow_point.name: run for run in direct_page.test.runs.select_related("flow_point")}
    clock, count = (f"note_measured.{runs[name].key}" for name in ("minimum", "design"))
    direct_page.put(clock, duration="2.30")
    direct_page.put(count, concentrate_end="161.5 L")
    direct_page.send()
    assert direct_page.status == 422
    for sentence in ("A plain 2.30 could be either", "shows more after the run than before it"):
        assert sentence in direct_page.text
    assert direct_page.boxes[f"{clock}.duration"] == "2.30"
    assert direct_page.boxes[f"{count}.concentrate_end"] == "161.5 L"
    assert runs["design"].direct.concentrate_end is None


def test_a_length_on_a_sheet_says_its_unit(scene, sign_in, time_machine):
    """1.62 would be a level in m and no likely one in mm."""
    time_machine.move_to(NOON, tick=False)
    page = Page(sign_in(Client(), scene.contractor), direct_day(scene, "draw_down").test)
    line = f"note_measured.{page.test.runs.first().key}"
    page.put(line, level_before="1.62")
    assert "has no unit that is known here" in page.send().text
    assert page.boxes[f"{line}.level_before"] == "1.62"
    page.put(line, level_before="1.62 m")
    assert page.send().status == 200


def test_a_sheet_asks_of_a_direct_test_what_its_method_asks(scene):
    measured_test(scene, "two_flows", on=date(2026, 5, 4))
    day = direct_day(scene, "other_liquid", liquid="water")
    told = day_of(scene.contractor, day.test.visit.key)
    lines = {line.verb: line for part in Sheet(told).parts() for line in part.lines}
    asked = told["direct_asked"]["other_liquid"]
    for verb in ("note_setup", "note_measured"):
        assert [box.name for box in lines[verb].boxes] == [one["name"] for one in asked[verb]]
    assert not {"add_sample", "set_volumes", "add_reading"} & set(lines)
