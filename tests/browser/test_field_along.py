"""Which devices have a day on them: said when it goes from one, and told where it is handed in."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Route, expect

from tests.browser.fielding import Phone
from tests.browser.test_field_handing import fails_on, forgive

pytestmark = pytest.mark.browser


def test_signing_out_takes_every_day_off_and_says_so(
    planned: dict[str, Any], planned_too: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.take_along(planned_too)
    crew.page.goto("/visits/")
    told: list[str] = []
    crew.page.on("response", lambda one: told.append(one.url) if one.ok else None)
    crew.page.get_by_role("button", name="Sign out").click()
    crew.page.get_by_role("button", name="Sign in").wait_for()
    for day in (planned, planned_too):
        assert [url for url in told if url.endswith(f"{day['visit']}/off/")], told
    assert not crew.page.evaluate(
        "Object.keys(localStorage).filter((name) => name.startsWith('itm-field-off'))"
    )


def test_a_day_that_could_not_be_told_off_is_told_with_the_next_round(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)

    def busy(route: Route) -> None:
        route.fulfill(status=503, body="")

    crew.page.route("**/off/", busy)
    crew.page.goto("/field/")
    with crew.page.expect_response("**/off/") as refused:
        crew.page.locator(f"#off-{planned['visit']}").click()
    assert refused.value.status == 503
    expect(crew.said).to_contain_text("Taken off this device")
    crew.page.unroute("**/off/")
    with crew.page.expect_response(f"**/{planned['visit']}/off/") as told:
        crew.page.evaluate("window.dispatchEvent(new Event('online'))")
    assert told.value.ok
    crew.faults[:] = [one for one in crew.faults if not one.startswith("503 from")]


def test_a_check_is_not_handed_in_unwarned_while_another_phone_holds_entries(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew, other = phone(), phone()
    crew.take_along(planned)
    fails_on(crew, "add_check_sample")
    crew.open(planned, f"/check/{planned['check']}")
    crew.page.get_by_label("Label").fill(f"W {planned['check'][:8]}")
    crew.press("Note the bottle")
    # The same round says so to the server, as it fetches the day.
    expect(crew.strip).to_contain_text("needs you. As the server had it", timeout=40_000)
    other.take_along(planned)
    other.open(planned, f"/check/{planned['check']}")
    expect(other.page.get_by_text("still held 1 entry of this day")).to_be_visible()
    forgive(crew)
