"""Archives for tests: a site with some of everything, its archive, and an empty installation."""

import hashlib
import io
import json
import zipfile
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Any

from django.apps import apps
from django.db import connection
from django.utils import timezone

from itm.actions import restore
from itm.actions.adopt import adopt
from itm.actions.note_happening import note_happening
from itm.actions.send_back import send_back
from itm.actions.settle_rows import confirm
from itm.actions.take_back_start import take_back_start
from itm.archives.bringing import Came, bring
from itm.archives.reading import opened
from itm.archives.tables import NATURAL, Sight
from itm.archives.writing import write
from itm.archives.zipping import ZipSink
from itm.core import triggers
from itm.core.quantities import Quantity
from itm.findings import asking
from itm.findings.clocks import adopt_clock
from itm.findings.deciding import note_by_hand, note_repair
from itm.findings.impairing import open_by_hand
from itm.findings.models import NoticeClock
from itm.findings.overdue import say_overdue
from itm.findings.visiting import correct_visit, note_visit, withdraw_file
from itm.records import effluent, past
from itm.records.duties import derive_site
from itm.records.photographing import take_photo
from itm.records.witnessing import sign_as_witness
from itm.registry import attaching
from itm.retention import letting, setting
from itm.schedule.models import Programme, Requirement
from tests import keeping
from tests.checks import checked, with_report
from tests.deeds import discharged, inspection_of, prepared, tested
from tests.direct_deeds import measured_test
from tests.factories import (
    TODAY,
    AttachmentFactory,
    ChangeOverFactory,
    EquipmentFactory,
    PastResultFactory,
    RelocationFactory,
    StoreMovementFactory,
    TankFactory,
    TankFillFactory,
)
from tests.factories_past import PastCheckLineFactory, PastInspectionFactory
from tests.itm.registry.pictures import PDF, picture

NOON = datetime.combine(TODAY, time(12), UTC)
Deed = Any


def archived(actor: Any, site: Any, to: Path, at: datetime = NOON) -> Path:
    """The archive of the site, as the worker writes it."""
    with to.open("wb") as file, ZipSink(file) as sink:
        write(sink, Sight(actor, site), at=at)
    return to


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as file:
        return {name: file.read(name) for name in file.namelist()}


def rows(path: Path, table: str) -> list[dict[str, Any]]:
    lines = contents(path)[f"data/{table}.jsonl"].splitlines()
    return [json.loads(line) for line in lines]


def same_data(one: dict[str, bytes], other: dict[str, bytes]) -> list[str]:
    """Names of what is not the same: rows, sealed bytes, hand-ins, photos, papers and reports."""
    left = {"manifest.json", "README.txt"}
    names = (one.keys() | other.keys()) - left
    return sorted(name for name in names if one.get(name) != other.get(name))


def emptied() -> None:
    """No row but the rules that every installation has; as after the first migrate."""
    connection.check_constraints()
    triggers.drop(connection)
    models = [m for m in apps.get_models(include_auto_created=True) if m not in NATURAL]
    with connection.cursor() as cursor:
        for model in models:
            if model.__module__.startswith("itm.") or model._meta.app_label == "registry":
                cursor.execute(f'DELETE FROM "{model._meta.db_table}"')
    connection.check_constraints()
    triggers.lay(connection)


def forgotten() -> None:
    """No deficiency, as in an installation whose records are older than they are."""
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM findings_step")
        cursor.execute("DELETE FROM findings_deficiency")
        cursor.execute("DELETE FROM core_change WHERE model LIKE 'findings.%'")
    triggers.lay(connection)


def brought(path: Path, at: datetime | None = None) -> Came:
    with opened(path) as (archive, sha256):
        archive.check()
        return bring(archive, sha256, at=at or timezone.now())


def repacked(path: Path, to: Path, **changed: bytes | None) -> Path:
    """The same archive with other files in it, its manifest as it was: what somebody would do who
    changes a file. None leaves one out."""
    files = {**contents(path), **changed}
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in files.items():
            if data is not None:
                out.writestr(name, data)
    return to


def forged(path: Path, to: Path, **changed: bytes) -> Path:
    """And with a manifest that fits: what somebody would do who knows how it is made."""
    files = {**contents(path), **changed}
    manifest = json.loads(files.pop("manifest.json"))
    manifest["files"] = [
        {"path": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in files.items()
    ]
    return repacked(path, to, **changed, **{"manifest.json": json.dumps(manifest).encode()})


def without(path: Path, to: Path, name: str) -> Path:
    """And one that never had this file."""
    manifest = json.loads(contents(path)["manifest.json"])
    manifest["files"] = [one for one in manifest["files"] if one["path"] != name]
    manifest["counts"].pop(Path(name).stem)
    return repacked(path, to, **{name: None, "manifest.json": json.dumps(manifest).encode()})


# What may have happened at a site, each on its own ------------------------------------------------


def a_test(scene: Any) -> None:
    tested(scene)


def lean_tests(scene: Any) -> None:
    for year in (2024, 2025):
        tested(scene, {"minimum": 2.4, "design": 3.3}, on=date(year, 6, 15))


def a_test_that_went_back(scene: Any) -> None:
    """A deficiency stands on a record that its author has again."""
    test = tested(scene, {"minimum": 2.1, "design": 2.2}, on=date(2023, 6, 15), until="handed_in")
    send_back(actor=scene.owner, key=test.key, reason="which water?", at=NOON)


def a_test_waiting(scene: Any) -> None:
    tested(scene, on=date(2022, 6, 15), until="handed_in")


def a_direct_test(scene: Any) -> None:
    measured_test(scene, "draw_down", on=date(2021, 6, 15))


def by_meters(scene: Any) -> None:
    measured_test(scene, "two_flows", on=date(2020, 6, 15))


def a_day_under_way(scene: Any) -> None:
    """A draft, with one line left out of service."""
    day = discharged(prepared(scene, on=TODAY - timedelta(days=3)))
    lines = list(day.test.visit.restoration_lines.order_by("position"))
    restore.end_line(
        actor=day.actor, line=lines[0], outcome="left_out", reason="the handle broke",
        handed_to="the duty engineer", handed_at=day.tick(), at=day.tick(),
    )  # fmt: skip


def checks_of_the_tank(scene: Any) -> None:
    for check in (with_report(scene), checked(scene, until="handed_in", on=date(2025, 6, 15))):
        take_photo(
            actor=scene.contractor, of=check.samples.first(), name="bottle.png", taken_at=NOON,
            at=NOON, file=io.BytesIO(picture(size=(14, 9 + check.pk % 7))),
        )  # fmt: skip
    checked(scene, until="draft", on=date(2024, 6, 15))


def an_inspection(scene: Any) -> None:
    inspection_of(scene)


def papers_of_old(scene: Any) -> None:
    PastResultFactory(proportioner=scene.proportioner)
    line = PastCheckLineFactory(tank=scene.tank)
    again = PastCheckLineFactory(tank=scene.tank, bundle=line.bundle, name="", value=None,
                                 value_typed="", outcome="fit for use")  # fmt: skip
    PastInspectionFactory(tank=scene.tank, bundle=line.bundle)
    past.withdraw(actor=scene.owner, line=again, reason="of another tank", at=NOON)


def photos_and_papers(scene: Any) -> None:
    for site, target, data, name in (
        (scene.site, scene.tank, picture(), "tank.png"),
        (scene.site, scene.site, PDF, "plan.pdf"),
        (None, scene.tank.movements.first().lot, PDF, "certificate.pdf"),
        (scene.site, scene.system, picture("JPEG"), "system.jpg"),
    ):
        [row] = attaching.attach(
            actor=scene.owner, site=site, target=target, at=NOON, caption="=1+1, “%s”, Ærø",
            uploads=[attaching.Upload(io.BytesIO(data), name)],
        )  # fmt: skip
    attaching.withdraw(actor=scene.owner, row=row, why="shows a face", at=NOON)


def something_wrong(scene: Any) -> None:
    wrong = note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="A sign is gone",
        found_on=TODAY, at=NOON,
    )  # fmt: skip
    note_repair(
        actor=scene.owner, deficiency=wrong, part="sign", who="The porter", repaired_at=NOON,
        at=NOON,
    )  # fmt: skip
    asking.order(actor=scene.authority, site=scene.site, words="Mend it", due_on=TODAY, at=NOON)


def out_of_service(scene: Any) -> None:
    open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=NOON, at=NOON,
    )  # fmt: skip
    clock = NoticeClock.objects.get(code="commanders-at-72-hours")
    adopt_clock(actor=scene.owner, clock=clock, sites=[scene.site], checked_against="it", at=NOON)
    row = Requirement.objects.filter(programme__everywhere=True).earliest("pk")
    derive_site(actor=scene.owner, site=scene.site)
    say_overdue(
        actor=scene.owner, site=scene.site, requirement=row, severity=3, because="our fire plan",
        at=NOON,
    )  # fmt: skip


def a_visit_of_an_authority(scene: Any) -> None:
    """Put right once, with an order from it and a photo that was withdrawn."""
    said = {"visited_on": TODAY, "present": "A. Inspector", "at": NOON}
    files = [(picture(), "valve.png"), (PDF, "list.pdf")]
    seen = note_visit(
        actor=scene.authority, site=scene.site, looked_at="the pump room", **said,
        uploads=[attaching.Upload(io.BytesIO(data), name) for data, name in files],
    )  # fmt: skip
    right = correct_visit(
        actor=scene.authority, visit=seen, because="the wrong room", looked_at="the valve room",
        **said,
    )  # fmt: skip
    photo = right.files.get(name="valve.png")
    withdraw_file(actor=scene.authority, row=photo, because="a face", at=NOON)
    asking.order(
        actor=scene.authority, site=scene.site, words="Seal it", due_on=TODAY, at=NOON,
        authority_visit=right,
    )  # fmt: skip


def a_question(scene: Any) -> None:
    record = tested(scene, on=date(2019, 6, 15))
    asked = asking.ask(actor=scene.authority, record=record, words="Which water?", at=NOON)
    asking.answer(actor=scene.contractor, question=asked, words="The hydrant's", at=NOON)


def a_programme(scene: Any) -> None:
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    row = programme.requirements.get(code="N25-25")
    for site, by in ((scene.site, scene.owner), (None, scene.authority)):
        adoption, _ = adopt(actor=by, programme=programme, starts_on=TODAY, site=site)
        confirm(actor=by, adoption=adoption, requirements=[row], checked_against="it", today=TODAY)
    note_happening(
        actor=scene.owner, site=scene.site, system=scene.system, kind="repair",
        happened_on=TODAY, words="new seal", today=TODAY,
    )  # fmt: skip


def equipment(scene: Any) -> None:
    EquipmentFactory(site=scene.site, system=scene.system)
    RelocationFactory(equipment__site=scene.site)
    StoreMovementFactory(store__site=scene.site)
    other = TankFactory(site=scene.site)
    TankFillFactory(tank=other)
    ChangeOverFactory(tank=other, system=scene.system)
    AttachmentFactory(site=scene.site, sha256="0" * 64)  # not what was noted of it


def a_witness(scene: Any) -> None:
    sign_as_witness(
        actor=scene.authority, record=tested(scene, on=date(2017, 6, 15)), name="An inspector",
        qualification="Fire protection inspector", saw=["discharge"],
        present_on=date(2017, 6, 15), at=NOON,
    )  # fmt: skip


def a_start_taken_back(scene: Any) -> None:
    """The owner sees that the system was out; the visit is a plan again."""
    day = prepared(scene, on=date(2018, 6, 15))
    take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())


def foam_that_came_out(scene: Any) -> None:
    effluent.note(
        actor=scene.owner, site=scene.site, visit=None, today=TODAY, kind="discharged",
        happened_on=TODAY, volume=Quantity(1.0, "1000 L"),
    )  # fmt: skip


def a_book_of_old(scene: Any) -> None:
    """Older papers have a tank that was overfull and filled onto a fill."""
    odd = TankFactory(site=scene.site)
    TankFillFactory(tank=odd)
    TankFillFactory(tank=odd, moved_on=date(2019, 2, 1), volume=5.0, volume_typed="5000 L")


def what_is_kept_and_let_go(scene: Any) -> None:
    """Periods of both kinds, one of them ended; files that went, wait, stay and were taken back."""
    keeping.adopted(scene, "eu-pfas-plan", "three-years")
    setting.end(
        actor=scene.owner, row=scene.site.keeping_periods.get(rule__code="three-years"),
        why="another code governs", at=keeping.NOW,
    )  # fmt: skip
    for years in (1, 2):
        setting.set_own(
            actor=scene.owner, site=scene.site, kind="check", years=years, why="space",
            at=keeping.NOW,
        )  # fmt: skip
    plans = [keeping.paper(scene, name=f"plan {n}.pdf", kind="plan") for n in range(4)]
    keeping.decided(scene, "plan", plans[0], verb="keep", until=date(2040, 1, 1))
    back = keeping.decided(scene, "plan", plans[1])
    letting.take_back(actor=scene.owner, row=back, at=keeping.NOW)
    keeping.decided(scene, "plan", plans[2])
    check = with_report(scene)
    later = keeping.NOW + timedelta(days=1200)
    keeping.decided(scene, "check", check.laboratory_reports.get(), at=later)
    letting.carry_out(later + letting.WAITS)
    keeping.decided(scene, "plan", plans[3], at=later)


DEEDS: tuple[Deed, ...] = (
    a_test, lean_tests, a_test_that_went_back, a_test_waiting, a_direct_test, by_meters,
    a_day_under_way, checks_of_the_tank, an_inspection, papers_of_old, photos_and_papers,
    something_wrong, out_of_service, a_question, a_visit_of_an_authority, a_programme, equipment,
    a_book_of_old, a_start_taken_back, foam_that_came_out, a_witness, what_is_kept_and_let_go,
)  # fmt: skip


def some_of(seed: int) -> list[Deed]:
    """Another handful for each seed, in another order."""
    random = Random(seed)
    return random.sample(DEEDS, random.randint(3, 7))
