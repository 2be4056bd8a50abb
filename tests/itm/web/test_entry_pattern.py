"""How readings came in, shown to whoever signs; and last digits of an instrument over its benches.

All readings are invented; that such patterns are worth a look is common practice, no published
source. The chance is held against scipy's binomial distribution.
"""

from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from scipy.stats import binom

from itm.records.last_digits import LastDigits, last_digits
from tests import deeds
from tests.conftest import Scene

HEAD = "How the readings came in"


def test_pace_digits_and_arrival_are_shown_to_who_signs_and_not_to_the_crew_at_work(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    """Readings of `deeds.read` are 20 s apart and all at 20.0 °C."""
    draft = deeds.tested(scene, until="draft")
    own = sign_in(client, scene.contractor)
    assert HEAD not in own.get(reverse("test", args=[draft.key])).content.decode()
    test = deeds.tested(scene, on=date(2026, 7, 15), until="handed_in")
    page = " ".join(own.get(reverse("test", args=[test.key])).content.decode().split())
    assert HEAD in page
    assert "half of them within 20 s; the shortest 20 s" in page
    assert "noted with 11 of 11; 20.0 °C with 11 of them" in page
    assert "Reached the server" in page
    assert "0 or 5 in 5 of 11; where every digit comes alike often, about 2" in page


@pytest.mark.parametrize(("readings", "ending"), [(20, 4), (20, 13), (60, 31), (8, 8)])
def test_chance_of_so_many_round_digits_is_that_of_the_binomial(readings: int, ending: int) -> None:
    one = LastDigits("R. Invented", readings, ending)
    assert one.by_chance == pytest.approx(binom.sf(ending - 1, readings, 0.2), rel=1e-9)
    assert ("fewer than 1 of 1,000" in one.words) is (readings >= 20 and one.by_chance < 0.001)


def test_last_digits_of_an_instrument_are_counted_by_person_over_its_benches(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    """Two benches of 11 bottles each, all ending in 0: `deeds` reads a line of whole steps."""
    whole = {"minimum": 3.5, "design": 3.0}
    deeds.tested(scene, whole, on=date(2025, 6, 16))
    assert last_digits(scene.instrument)[0].words == "fewer than 20 readings say nothing"
    deeds.tested(scene, whole)
    (found,) = last_digits(scene.instrument)
    assert (found.person, found.readings, found.round) == (scene.contractor.person, 22, 22)
    own = sign_in(client, scene.contractor)
    page = own.get(reverse("instrument", args=[scene.instrument.key])).content.decode()
    assert "so many, or more, in fewer than 1 of 1,000 such series" in page


def test_qualification_is_said_by_the_person_and_fills_in_the_signature(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    own = sign_in(client, scene.contractor)
    wrong = own.post(reverse("qualification"), {"licence_expires_on": "31/12/2026"})
    assert wrong.status_code == 422
    assert "Write the day as year, month and day" in wrong.content.decode()
    own.post(
        reverse("qualification"),
        {"qualification": "Foam systems technician", "licence_number": "L-7",
         "licence_expires_on": "2026-12-31"},
    )  # fmt: skip
    test = deeds.tested(scene, until="handed_in")
    page = own.get(reverse("sign", args=[test.key])).content.decode()
    assert 'value="2026-12-31"' in page
    assert 'value="L-7"' in page


def test_conditions_of_the_bench_are_said_on_its_page_and_a_crossed_one_is_asked(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    test = deeds.tested(scene, until="draft")
    own = sign_in(client, scene.contractor)
    url = reverse("bench_note", args=[test.key])
    answer = own.post(url, {"bottles_were": "wet", "opened-bottles_were": ""})
    assert answer.status_code == 302
    assert "rinsed with water and left wet" in own.get(answer["Location"]).content.decode()
    crossed = own.post(url, {"bottles_were": "dry", "opened-bottles_were": ""})
    assert crossed.status_code == 422
    assert "Nothing was overwritten" in crossed.content.decode()
