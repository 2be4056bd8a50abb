"""Promised work on the real thing: PostgreSQL, Redis, gunicorn, a Celery worker and its clock."""

import subprocess
import time
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from itm.core import outbox
from itm.records.models import ProportioningTest
from itm.reports.models import Report
from tests.deeds import tested
from tests.services.conftest import Browser, Processes, until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

NOBODY = "redis://127.0.0.1:1/0"  # nothing listens on port 1
QUICK = 10.0  # seconds that a deed may take with the broker away


def sign(browser: Browser, test: ProportioningTest) -> str:
    return browser.post(
        reverse("sign", args=[test.key]),
        name="Invented Signatory",
        qualification="Foam systems engineer",
        number="L-77",
    )


def text_of(report: Report, folder: Path) -> str:
    """The stored file, where the worker put it."""
    path = folder / "files" / report.file.name
    done = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout


def test_worker_renders_the_report_of_a_seal(scene: Any, processes: Processes) -> None:
    """The nudge alone is enough: no sweep runs here."""
    test = tested(scene, until="handed_in")
    processes.start("worker")
    processes.start("web")
    until(processes.answers, "the web is ready")
    until(lambda: processes.said("worker", " ready."), "the worker is ready")
    browser = Browser(processes.port)
    browser.sign_in(scene.contractor.user.email)
    assert "Sealed" in sign(browser, test)
    report = until(lambda: Report.objects.filter(test=test).first(), "the report is made")
    text = text_of(report, processes.folder)
    assert scene.proportioner.tag in text
    assert "Invented Signatory" in text
    assert until(lambda: not outbox.waiting().exists(), "the promise is kept", 10)


def test_seal_stands_without_a_broker_and_the_sweep_catches_up(
    scene: Any, processes: Processes
) -> None:
    test = tested(scene, until="handed_in")
    processes.start("web", broker=NOBODY)
    until(processes.answers, "the web is ready")
    browser = Browser(processes.port)
    browser.sign_in(scene.contractor.user.email)
    before = time.monotonic()
    assert "Sealed" in sign(browser, test)
    assert time.monotonic() - before < QUICK
    test.refresh_from_db()
    assert test.state == "sealed"
    assert outbox.waiting().get().tries == 0
    assert not Report.objects.exists()
    # The broker is back: nobody nudges, so only the clock can bring the work to the worker.
    processes.start("worker")
    processes.start("beat")
    report = until(lambda: Report.objects.filter(test=test).first(), "the report is made")
    assert report.size > 1000
    assert processes.said("beat", "drain-outbox")
