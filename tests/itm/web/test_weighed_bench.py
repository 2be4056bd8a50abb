"""The bench of a thick concentrate on page and paper: grams, density, and what is missing."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from itm.actions.hand_in import hand_in
from itm.actions.sign import sign
from itm.doors.blank_sheets import labels_of
from itm.doors.day import day_of
from itm.records.models import Bottle, ProportioningTest
from tests import deeds
from tests.conftest import Scene
from tests.doors.test_filled_sheet import Page

SignIn = Callable[[Client, object], Client]
NOTED = {"standards_by": "mass", "water_source": "hydrant", "glassware": "bench scale, 0.01 g"}
DENSITY = {
    "density": "1.048", "density_unit": "g/mL", "density_at": "20", "density_at_unit": "°C",
    "density_error": "5", "density_error_unit": "kg/m³", "density_from": "certificate",
}  # fmt: skip
GRAMS = {"S1": ("4.19", "195.66"), "S2": ("6.29", "193.65"), "S3": ("8.38", "191.66")}


def words(page: bytes) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page.decode()))


@pytest.fixture
def day(scene: Scene) -> deeds.Day:
    return deeds.restored(deeds.discharged(deeds.prepared(scene)))


@pytest.fixture
def crew(client: Client, scene: Scene, sign_in: SignIn) -> Client:
    return sign_in(client, scene.contractor)


def url(test: ProportioningTest, name: str = "bench") -> str:
    return reverse(name, args=[test.key])


def grams(test: ProportioningTest, **changed: tuple[str, str]) -> dict[str, str]:
    out = {}
    for label, amounts in {**GRAMS, **changed}.items():
        key = test.bench.bottles.get(label=label).key
        out |= dict(zip((f"concentrate_g-{key}", f"water_g-{key}"), amounts, strict=True))
    return out


def test_a_weighed_bench_says_percent_by_mass_until_it_has_the_density(
    crew: Client, day: deeds.Day
) -> None:
    test = day.test
    crew.post(url(test, "bench_set_out"))
    assert crew.post(url(test, "bench_note"), NOTED).status_code == 302
    assert "after the density" in words(crew.get(url(test)).content)
    assert crew.post(url(test, "bench_volumes"), grams(test)).status_code == 302
    page = words(crew.get(url(test)).content)
    # Arithmetic: 6.29 g in 199.94 g are 3.15 % by mass.
    assert "not known; 3.15 % by mass" in page
    assert "no density of the concentrate" in page
    assert crew.post(url(test, "bench_note"), NOTED | DENSITY).status_code == 302
    page = words(crew.get(url(test)).content)
    assert "by mass" not in page
    assert "6.288 g concentrate, 193.652 g water" in page  # 6 mL and 194 mL times their densities
    assert "Density of the concentrate: 1.048 g/mL at 20 °C" in page


def test_a_volume_in_a_weighed_standard_comes_back_with_its_sentence(
    crew: Client, day: deeds.Day
) -> None:
    test = day.test
    crew.post(url(test, "bench_set_out"))
    crew.post(url(test, "bench_note"), NOTED)
    answer = crew.post(url(test, "bench_volumes"), grams(test, S2=("6 mL", "193.65")))
    assert answer.status_code == 422
    assert "6 mL is a volume, and this standard is weighed" in words(answer.content)
    assert 'value="6 mL"' in answer.content.decode()
    assert test.bench.bottles.get(label="S1").concentrate_g_typed == "4.19"


def test_the_report_names_grams_and_density(crew: Client, day: deeds.Day) -> None:
    test = day.test
    crew.post(url(test, "bench_set_out"))
    crew.post(url(test, "bench_note"), NOTED | DENSITY)
    crew.post(url(test, "bench_volumes"), grams(test))
    deeds.read(day, {"minimum": 3.2, "design": 3.4})
    hand_in(actor=day.actor, key=test.key, at=day.tick(minutes=5))
    sign(
        actor=day.actor, key=test.key, at=day.tick(minutes=5), name=day.actor.person,
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip
    text = words(crew.get(reverse("report", args=[test.key])).content)
    assert "6.29 + 193.65 g" in text
    assert "1.048 g/mL at 20 °C, either way by 5 kg/m³, from the certificate of the lot" in text


def test_paper_asks_grams_and_takes_them_back(crew: Client, day: deeds.Day, scene: Scene) -> None:
    test = day.test
    crew.post(url(test, "bench_note"), NOTED | DENSITY)
    day_object = day_of(scene.contractor, test.visit.key)
    labels = {label.text: label.what for label in labels_of(day_object)}
    assert labels["S2"] == "standard, 3 %: 6.29 g + 193.65 g water"
    page = Page(crew, test)
    assert not page.names("set_volumes.")
    key = next(b["key"] for b in day_object["benches"][0]["bottles"] if b["label"] == "S2")
    page.put(f"set_masses.{key}", concentrate_g="6,29", water_g="193.65")
    page.send()
    bottle = Bottle.objects.get(bench=test.bench, label="S2")
    assert (bottle.concentrate_g_typed, bottle.water_g_typed) == ("6,29", "193.65")
