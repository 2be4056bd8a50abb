"""The pages for whoever writes programs: a token is made, and the addresses are tried with it."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from itm.demo.scenario import scenario
from tests.browser.conftest import PHONE, Visitor

pytestmark = pytest.mark.browser


def test_token_is_made_and_an_address_is_tried_under_our_policy(
    enter: Callable[..., Visitor],
) -> None:
    """The page to try them is not ours: an error in the console, as of a blocked style, fails."""
    page = enter("contractor@example.org").page
    page.goto("/tokens/new/")
    page.get_by_label("Which program").fill("tried in the browser")
    if (proof := page.get_by_label("Your password")).count():  # signed in a while ago
        proof.fill(scenario()["password"])
    page.get_by_role("button", name="Make the token").click()
    token = page.get_by_label("The token, shown this once").input_value()
    page.goto("/api/v1/docs/")
    page.get_by_role("link", name="try the addresses out").click()
    page.get_by_role("button", name="Authorize").first.click()
    asked = page.locator(".auth-container")
    asked.locator("input").fill(token)
    asked.get_by_role("button", name=re.compile("Apply credentials|Authorize")).click()
    page.get_by_role("button", name="Close").click()
    page.locator("#operations-tag-token, [data-tag=token]").first.click()
    page.get_by_text("What this token is").click()
    page.get_by_role("button", name="Try it out").click()
    page.get_by_role("button", name="Execute").click()
    answer = page.locator(".live-responses-table .response").first
    expect(answer).to_contain_text("200")
    expect(answer).to_contain_text("tried in the browser")


@pytest.mark.parametrize("width", [390, 360])
def test_guide_and_tokens_fit_a_phone(enter: Callable[..., Visitor], width: int) -> None:
    visitor = enter("contractor@example.org", size={**PHONE, "width": width})
    for path in ("/api/v1/docs/", "/tokens/", "/tokens/new/"):
        visitor.page.goto(path)
        for one in visitor.page.locator("details.operation").all():
            one.evaluate("element => { element.open = true }")
        assert visitor.fits(), path
