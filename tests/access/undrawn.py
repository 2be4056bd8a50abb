"""Pages without their drawing, for walks that ask who is let in and not what a page looks like."""

from typing import Any

from django.template.backends.base import BaseEngine


class Blank:
    """Every template, and no text of it."""

    def render(self, context: Any = None, request: Any = None) -> str:
        return ""


class Undrawn(BaseEngine):
    """In place of the engine of the templates: a view asks, reads and decides as ever."""

    app_dirname = "templates"

    def __init__(self, params: dict[str, Any]) -> None:
        super().__init__({"NAME": "undrawn", "DIRS": [], "APP_DIRS": False})

    def from_string(self, template_code: str) -> Blank:
        return Blank()

    def get_template(self, template_name: str) -> Blank:
        return Blank()


UNDRAWN = [{"BACKEND": "tests.access.undrawn.Undrawn"}]
