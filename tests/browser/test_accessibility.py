"""No page keeps anybody out: axe-core, by its rules for WCAG 2.2, finds nothing serious.

One page of each kind that people come to by links from their own home: at the width of a desk in
light, at that of a phone in dark, and nothing sticks out sideways there. What a person alone can
judge (sense of a text, order of work) is not asked here.
"""

from collections.abc import Callable, Sequence
from typing import Any, Literal

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, Visitor
from tests.browser.fielding import Phone
from tests.browser.walking import walk

pytestmark = pytest.mark.browser

PEOPLE = ("contractor@example.org", "owner@example.org", "inspector@example.org")
NOT_OURS = {"api_try"}  # a page of Swagger UI: its colours are that library's
KINDS_AT_LEAST = 100  # of pages in the demo; fewer would mean that the walk lost its way
HEAVY = ("serious", "critical")
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
COLOURS = "color-contrast"
# What another width can change; the rest is the same document.
AT_ANOTHER_WIDTH = ["target-size", "scrollable-region-focusable", "link-name", "button-name"]
OPTIONS = {"resultTypes": ["violations"], "preload": False}
# Every element below its parent, by name and classes: what the rules of a style sheet go by.
NESTED = """[...new Set([...document.querySelectorAll("body *")].map((one) =>
  [one.parentElement, one].map((e) => `${e.localName}.${e.className}`).join(">")))]"""
WIDE = """[...document.querySelectorAll("body *")].filter((one) => {
  const edge = document.documentElement.clientWidth;
  return one.checkVisibility() && one.getBoundingClientRect().right > edge + 1
    && !one.closest(".wide-table, nav, svg, .visually-hidden, .skip");
}).slice(0, 3).map((one) => one.outerHTML.slice(0, 120))"""
SCREENS = ("discharge", "stop", "bench", "result")


def found_by_axe(page: Page, rules: Sequence[str], *, colours: bool = True) -> list[str]:
    """Each finding that weighs, with the element and what to do about it. `rules` by name, or
    none for all of WCAG."""
    asked: dict[str, Any] = {"runOnly": {"type": "tag", "values": WCAG}}
    if rules:
        asked = {"runOnly": {"type": "rule", "values": [*rules, *[COLOURS] * colours]}}
    elif not colours:
        asked["rules"] = {COLOURS: {"enabled": False}}
    results: dict[str, Any] = page.evaluate(
        "(options) => axe.run(document, options)", OPTIONS | asked
    )
    return [
        f"{one['id']} ({one['impact']}): {' '.join(map(str, node['target']))}: "
        f"{node['failureSummary'].splitlines()[-1].strip()}"
        for one in results["violations"]
        if one["impact"] in HEAVY
        for node in one["nodes"]
    ]


def sticking_out(page: Page) -> list[str]:
    wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    if not page.evaluate(wide):
        return []
    return [f"wider than the phone: {one}" for one in page.evaluate(WIDE) or ["somewhere"]]


def looked_at(page: Page, seen: set[str]) -> list[str]:
    """The page that is open, at both widths. Contrast, which takes longest, is asked where an
    element stands as none did on the pages before: the same style gives the same colours."""
    page.evaluate(AXE_SCRIPT)
    nested = set(page.evaluate(NESTED))
    colours = not nested <= seen
    seen |= nested
    out = [f"desk: {one}" for one in found_by_axe(page, (), colours=colours)]
    page.set_viewport_size(PHONE)
    coloured(page, "dark")
    again = found_by_axe(page, AT_ANOTHER_WIDTH, colours=colours)
    out += [f"phone: {one}" for one in [*again, *sticking_out(page)]]
    page.set_viewport_size(DESK)
    coloured(page, "light")
    return out


def coloured(page: Page, scheme: Literal["light", "dark"]) -> None:
    """At once: on its way from one colour to the other a link has the contrast of neither."""
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")


def test_every_kind_of_page_takes_everybody_in(look_around: Callable[..., Visitor]) -> None:
    reached: dict[str, str] = {}
    seen: set[str] = set()
    wrong = []
    for email in PEOPLE:
        visitor = look_around(email)
        pages = walk(visitor.page.request, reached)
        for kind, path in pages.items():
            if kind in NOT_OURS or (kind in reached and kind != "home"):
                continue
            visitor.page.goto(path)
            wrong += [f"{kind} {path}, {one}" for one in looked_at(visitor.page, seen)]
        reached |= pages
    assert wrong == [], "\n".join(wrong)
    assert len(reached) >= KINDS_AT_LEAST, sorted(reached)


@pytest.mark.parametrize("path", ["/sign-in/", "/verify/", "/api/v1/docs/"])
def test_pages_for_everybody_take_everybody_in(opened: Callable[[str], Page], path: str) -> None:
    page = opened(path)
    page.set_viewport_size(DESK)
    assert looked_at(page, set()) == []


def test_the_screens_of_the_field_take_everybody_in(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.start(planned)
    crew.screen(planned, "bench")
    crew.page.locator("#set-out").click()
    expect(crew.page.get_by_label("S1, concentrate poured, mL")).to_be_visible()
    wrong = []
    for name in ("", "/restore", *SCREENS, "#/days", "#/waiting"):
        if name.startswith("#"):
            crew.page.goto(f"/field/{name}")
        elif name in SCREENS:
            crew.screen(planned, name)
        else:
            crew.open(planned, name)
        expect(crew.page.locator("#field h1")).to_be_visible()
        crew.page.evaluate(AXE_SCRIPT)
        wrong += [f"{name}: {one}" for one in found_by_axe(crew.page, ())]
        coloured(crew.page, "dark")
        wrong += [f"{name}, dark: {one}" for one in found_by_axe(crew.page, AT_ANOTHER_WIDTH)]
        coloured(crew.page, "light")
    assert wrong == [], "\n".join(wrong)
