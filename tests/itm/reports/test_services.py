"""Making, keeping and promising reports, on a record that went through the real services."""

import hashlib
import sys
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from itm.core import outbox
from itm.core.errors import Refused
from itm.core.history import Change
from itm.core.outbox import Job
from itm.records.models import ProportioningTest
from itm.reports import queries, services
from itm.reports.models import Report
from tests.deeds import tested


@pytest.fixture
def sealed(scene: Any) -> ProportioningTest:
    return tested(scene)


def stored() -> list[Path]:
    return sorted((Path(settings.MEDIA_ROOT) / "reports").glob("*"))


def test_the_job_that_signing_promised_makes_the_report(sealed: ProportioningTest) -> None:
    assert outbox.drain() >= 1
    report = Report.objects.get(test=sealed)
    made = report.file.read()
    assert made.startswith(b"%PDF-1.7")
    assert (report.sha256, report.size) == (hashlib.sha256(made).hexdigest(), len(made))
    assert not outbox.waiting().exists()
    assert Change.objects.filter(model="reports.Report", object_key=report.key).count() == 1


def test_the_file_has_a_name_that_says_nothing(sealed: ProportioningTest) -> None:
    services.render_report(str(sealed.key))
    (file,) = stored()
    assert len(file.stem) == 32
    assert str(sealed.key).replace("-", "") not in file.stem


def test_a_job_that_runs_twice_leaves_the_report_alone(sealed: ProportioningTest) -> None:
    services.render_report(str(sealed.key))
    first = Report.objects.get(test=sealed)
    services.render_report(str(sealed.key))
    second = Report.objects.get(test=sealed)
    assert (second.file.name, second.sha256) == (first.file.name, first.sha256)
    assert len(stored()) == 1


def test_a_lost_file_is_made_again_with_the_same_bytes(sealed: ProportioningTest) -> None:
    services.render_report(str(sealed.key))
    digest = Report.objects.get(test=sealed).sha256
    stored()[0].unlink()
    services.render_report(str(sealed.key))
    assert Report.objects.get(test=sealed).sha256 == digest
    assert hashlib.sha256(stored()[0].read_bytes()).hexdigest() == digest


def test_a_file_that_somebody_changed_is_replaced(sealed: ProportioningTest) -> None:
    services.render_report(str(sealed.key))
    (file,) = stored()
    file.write_bytes(b"%PDF-1.7 another paper")
    assert queries.report_bytes(sealed.seal) is None
    services.render_report(str(sealed.key))
    made = queries.report_bytes(sealed.seal)
    assert made is not None
    assert hashlib.sha256(made).hexdigest() == Report.objects.get(test=sealed).sha256
    assert len(stored()) == 1


def test_two_workers_on_one_promise_leave_one_report(sealed: ProportioningTest) -> None:
    services.store(sealed, None, b"%PDF-1.7 the first")
    services.store(sealed, None, b"%PDF-1.7 the second, a moment later")
    assert queries.report_bytes(sealed.seal) == b"%PDF-1.7 the first"
    assert len(stored()) == 1


@pytest.mark.parametrize("until", ["draft", "handed_in"])
def test_a_record_that_is_not_sealed_has_no_report(scene: Any, until: str) -> None:
    test = tested(scene, until=until)
    with pytest.raises(Refused, match="sealed when a supervisor or manager") as info:
        services.render_report(str(test.key))
    assert info.value.code == "not_sealed"
    with pytest.raises(Refused):
        services.render_report(str(uuid.uuid4()))
    assert not Report.objects.exists()


def test_without_the_library_the_promise_waits_and_says_why(
    sealed: ProportioningTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)  # what Python does with a missing module
    assert outbox.drain() == 1
    making = queries.making(sealed.seal)
    assert making.tries == 1
    assert "libpango-1.0-0" in making.said
    assert making.next_try is not None
    assert making.next_try > timezone.now()


def promised(test: ProportioningTest) -> list[Job]:
    return list(queries.jobs(test.seal))


def test_a_waiting_promise_is_not_doubled(sealed: ProportioningTest) -> None:
    services.promise(sealed.seal)
    services.promise(sealed.seal)
    assert len(promised(sealed)) == 1


@pytest.mark.parametrize("end", ["done_at", "gave_up_at"])
def test_a_promise_that_ended_without_a_report_is_made_again(
    sealed: ProportioningTest, end: str
) -> None:
    for count in (2, 3):
        Job.objects.update(**{end: timezone.now()})
        services.promise(sealed.seal)
        services.promise(sealed.seal)
        assert len(promised(sealed)) == count
    assert outbox.drain() == 1
    assert queries.report_bytes(sealed.seal) is not None


def test_trying_again_now_takes_the_next_try_forward(sealed: ProportioningTest) -> None:
    later = timezone.now() + timedelta(hours=1)
    Job.objects.update(not_before=later, error="OSError: the disk is full", tries=3)
    services.promise(sealed.seal)
    assert promised(sealed)[0].not_before == later
    services.promise(sealed.seal, now=True)
    assert promised(sealed)[0].not_before <= timezone.now()
    assert len(promised(sealed)) == 1


def test_a_fault_of_the_server_is_not_shown_to_people(sealed: ProportioningTest) -> None:
    Job.objects.update(error="OSError: /srv/secret/path is full", tries=2)
    making = queries.making(sealed.seal)
    assert (making.tries, making.said) == (2, "")
