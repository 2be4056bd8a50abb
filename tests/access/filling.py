"""The forms of a page as a browser would send them, filled where something is missing."""

from html.parser import HTMLParser
from typing import Any

from tests.factories import TODAY

TYPED = {
    "date": TODAY.isoformat(), "number": "1", "email": "someone@example.org", "time": "12:00",
    "datetime-local": f"{TODAY.isoformat()}T12:00", "text": "1",
}  # fmt: skip
NOT_SENT = {"submit", "button", "file", "image", "reset"}


class Forms(HTMLParser):
    """Names and values of all fields of a page, whichever form they stand in."""

    def __init__(self) -> None:
        super().__init__()
        self.values: dict[str, list[str]] = {}
        self.named: set[str] = set()
        self._select = self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {name: value or "" for name, value in attrs}
        name = held.get("name", "")
        if tag in ("input", "button", "select", "textarea") and name:
            self.named.add(name)
        if tag == "input":
            self._input(name, held)
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select:
            chosen = "selected" in held
            if chosen or (held.get("value") and self._select not in self.values):
                self.values[self._select] = [held.get("value", "")]
        elif tag == "textarea":
            self._area = name
            self.values[name] = ["1"]

    def _input(self, name: str, held: dict[str, str]) -> None:
        kind = held.get("type", "text")
        if not name or kind in NOT_SENT:
            return
        if kind in ("checkbox", "radio"):
            if "checked" in held or name not in self.values:
                self.values[name] = [held.get("value", "on")]
        else:
            self.values[name] = [held.get("value") or TYPED.get(kind, "1")]

    def handle_data(self, data: str) -> None:
        if self._area and data.strip():
            self.values[self._area] = [data]

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._area = ""


def filled(page: str) -> tuple[dict[str, Any], set[str]]:
    """What the page would send, and every name that it asks for."""
    forms = Forms()
    forms.feed(page)
    return dict(forms.values), forms.named
