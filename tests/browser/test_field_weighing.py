"""The bench of a thick concentrate on a phone without signal, and what an instrument's scale is
called there."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from calc.standards import as_made_by_mass
from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser

GRAMS = {"S1": ("10.48", "489.1"), "S2": ("15.72", "484.1"), "S3": ("20.96", "479.1")}


def test_standards_are_weighed_without_signal_and_reach_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.screen(planned, "bench")
    page = crew.page
    page.locator("#set-out").click()
    note(crew, "Standards are", "mass")
    s2 = page.locator(".pour", has=page.get_by_role("heading", name="S2"))
    for label, (concentrate, water) in GRAMS.items():
        page.get_by_label(f"{label}, concentrate weighed, g").fill(concentrate)
        page.get_by_label(f"{label}, water weighed, g").fill(water)
        crew.press(f"Keep masses of {label}")
    # Arithmetic: 15.72 g in 499.82 g.
    expect(s2).to_contain_text("3.15 % by mass; by volume it is not known")
    expect(s2).not_to_contain_text("Made:")
    page.get_by_label("S2, concentrate weighed, g").fill("15.72 mL")
    crew.press("Keep masses of S2")
    expect(s2.locator(".error")).to_contain_text("write one number")
    page.get_by_label("S2, concentrate weighed, g").fill("15.72")
    note(crew, "Density of the concentrate", "1048")
    note(crew, "Temperature of that density", "20")
    made = as_made_by_mass(15.72, 484.1, 1.048, 0.998207, 0).percent
    expect(s2).to_contain_text(f"Made: {float(made):.2f} %")
    # 6 mL and 194 mL of a batch of 200 mL, times their densities.
    expect(s2).to_contain_text("6.29 g concentrate and 193.65 g water")
    crew.online()
    crew.waits_for_nothing()
    [bench] = crew.day_on_server(planned)["benches"]
    assert (bench["standards_by"], bench["density"]) == ("mass", "1048 kg/m³")
    [second] = [one for one in bench["bottles"] if one["label"] == "S2"]
    assert (second["concentrate_g"], second["water_g"]) == GRAMS["S2"]
    assert second["percent"] == pytest.approx(float(made), rel=1e-6)


def note(crew: Phone, label: str, value: str) -> None:
    """One answer under how the bench is read."""
    part = crew.page.locator("#conditions")
    if part.get_attribute("open") is None:
        part.locator("summary").click()
    if value == "mass":
        part.get_by_label(label).select_option(value)
    else:
        part.get_by_role("textbox", name=label).fill(value)
    part.locator("#keep-conditions").click()
    expect(crew.said).to_contain_text("How the bench was read")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ({"name": "Brix reading", "unit": "% Brix"}, ("Brix reading, % Brix", "% Brix")),
        ({"name": "refractive index", "unit": ""}, ("refractive index, nD", "nD")),
        ({"name": "conductivity", "unit": "µS/cm"}, ("conductivity, µS/cm", "µS/cm")),
    ],
)
def test_the_scale_of_the_instrument_is_named_where_a_reading_is_typed(
    opened: Callable[..., Page], value: dict[str, str], words: tuple[str, str]
) -> None:
    found = opened("/field/").evaluate(
        """async (value) => {
          const own = await import("/static/field/reading_line.js");
          const field = {
            view: { units: {}, photos: [] }, photos: [], problems: new Map(), draft: () => null,
          };
          const bottle = { key: "b", label: "S1", role: "water", readings: [] };
          const bench = { fields: { value }, bottles: [bottle] };
          const line = own.readingLine(field, bench, bottle, true, new Map());
          return [own.scaleOf(bench), line.textContent];
        }""",
        value,
    )
    assert found[0] == words[0]
    assert f"S1, new reading, {words[1]}" in found[1]
