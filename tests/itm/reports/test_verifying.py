"""Stored reports are compared with what is noted of them, and with the history of that."""

from hashlib import sha256

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection

from itm.core import triggers
from itm.reports import services
from itm.reports.models import Report
from itm.reports.verifying import verify_reports
from tests.checks import checked
from tests.deeds import tested

PDF = b"%PDF-1.7 a report %%EOF"


def kept(record):
    services.store(record, None, PDF)
    return Report.objects.get()


def other_bytes(row, data):
    default_storage.delete(row.file.name)
    assert default_storage.save(row.file.name, ContentFile(data)) == row.file.name


def found():
    return [(one.kind, one.sentence) for one in verify_reports()]


def exit_code():
    with pytest.raises(SystemExit) as stop:
        call_command("verify_records", verbosity=0)
    return stop.value.code


@pytest.mark.parametrize("made", [tested, checked])
def test_a_report_with_other_bytes_is_altered_and_a_missing_one_lost(scene, made):
    record = made(scene)
    row = kept(record)
    call_command("verify_records", verbosity=0)  # leaves quietly
    assert found() == []
    other_bytes(row, PDF.replace(b"a", b"o"))
    [one] = verify_reports()
    assert (one.kind, one.place) == ("altered", f"{scene.site}, report of {record}")
    assert exit_code() == 1
    default_storage.delete(row.file.name)
    assert found() == [("lost", "The store has lost it; asked for, it is made anew.")]
    assert exit_code() == 1


def test_a_digest_that_was_made_to_fit_other_bytes_is_not_what_the_history_says(scene):
    row = kept(tested(scene))
    other_bytes(row, PDF + b" ")
    row.refresh_from_db()
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE reports_report SET sha256 = %s", [sha256(PDF + b" ").hexdigest()])
    triggers.lay(connection)
    assert found() == [("altered", "sha256 is not what its history says.")]


def test_a_report_that_was_made_anew_is_no_finding(scene):
    record = tested(scene)
    row = kept(record)
    default_storage.delete(row.file.name)
    services.store(record, row, PDF + b" made by another version of the library")
    assert found() == []
