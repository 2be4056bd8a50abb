"""Weights typed in from a filled sheet: a number alone could be of two units."""

import pytest
from django.test import Client

from tests.direct_deeds import direct_day
from tests.doors.test_filled_sheet import NOON, Page


def test_a_weight_on_a_sheet_says_its_unit(scene, sign_in, time_machine):
    """180 would be a weight in kg as well as in lb."""
    time_machine.move_to(NOON, tick=False)
    page = Page(sign_in(Client(), scene.contractor), direct_day(scene, "weighed").test)
    run, of_test = page.test.runs.first(), f"note_setup.{page.test.key}"
    line = f"note_measured.{run.key}"
    page.put(line, mass_before="180")
    assert "has no unit that is known here" in page.send().text
    page.put(line, mass_before="180 lb")
    page.put(of_test, density="1.04 g/mL", scale_step="0.2 lb")
    assert page.send().status == 200
    run.direct.refresh_from_db()
    assert run.direct.mass_before == pytest.approx(180 * 0.45359237)
