"""An upgrade works out what was found again by the same rules as the deeds do. Rules of our own: no
published source."""

from datetime import date, timedelta
from importlib import import_module

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from itm.core import triggers
from itm.findings.models import Deficiency
from tests.itm.findings.test_again import JULY, MAY, fault, lean, lowered, raised

upgrade = import_module("itm.findings.migrations.0008_what_was_found_again_is_said")
COLUMNS = ("again_on", "again_words", "class_asked_on")
Said = tuple[date | None, str, date | None]


@pytest.fixture
def then(db):
    name = ("findings", "0008_what_was_found_again_is_said")
    return MigrationExecutor(connection).loader.project_state(name).apps


def worked_out(then, row: Deficiency, said: Said) -> Said:
    """What the upgrade makes of a row that said this before."""
    with triggers.lifted(connection):
        columns = dict(zip(COLUMNS, said, strict=True))
        Deficiency._base_manager.filter(pk=row.pk).update(**columns)
        upgrade.say_again(then, None)
        [found] = Deficiency._base_manager.filter(pk=row.pk).values_list(*COLUMNS)
    return found


def both(then, row: Deficiency) -> Said:
    """What the deeds said, which the upgrade says from nothing, and leaves as it is."""
    row.refresh_from_db()
    said = (row.again_on, row.again_words, row.class_asked_on)
    assert worked_out(then, row, (None, "", None)) == said
    assert worked_out(then, row, said) == said
    return said


def test_a_class_lowered_before_it_was_found_again_is_asked_for(scene, then):
    row = lowered(scene, lean(scene, 2.93, MAY))
    lean(scene, 1.1, JULY)
    assert both(then, row)[2] == JULY
    lowered(scene, row)  # somebody has looked
    assert both(then, row)[::2] == (JULY, None)
    lean(scene, 1.2, JULY + timedelta(days=2))
    assert both(then, row)[2] == JULY + timedelta(days=2)
    lean(scene, 1.3, JULY - timedelta(days=5))  # comes late, and is not the newest
    assert both(then, row)[0] == JULY + timedelta(days=2)


def test_a_class_that_nobody_touched_is_not_asked_for(scene, then):
    row = lean(scene, 2.93, MAY)
    lean(scene, 1.1, JULY)
    assert both(then, row)[::2] == (JULY, None)


def test_the_record_that_opened_it_is_not_found_again_in_the_same_words(scene, then):
    row = fault(scene, "inspection", "valve stiff", MAY)
    raised(scene, row.inspection_line, "inspection", "valve stiff")
    assert both(then, row) == (None, "", None)
    assert worked_out(then, row, (MAY, "valve stiff", None)) == (None, "", None)
    raised(scene, row.inspection_line, "inspection", "valve stiff, leaks")
    assert both(then, row) == (MAY, "valve stiff, leaks", None)
