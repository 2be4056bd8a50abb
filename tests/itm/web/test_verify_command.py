"""The command that verifies everything: what it looks at, and how far it says that it is."""

import io
from datetime import date
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command

from itm.registry.models import Attachment
from tests.deeds import tested
from tests.keeping import paper

pytestmark = pytest.mark.django_db


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def run(*options: str, to: io.StringIO | None = None) -> tuple[int, str]:
    """With which code it ended, and what it wrote of what it found."""
    out = io.StringIO()
    try:
        call_command("verify_records", *options, stdout=out, stderr=to or io.StringIO())
    except SystemExit as stop:
        return int(str(stop.code)), out.getvalue()
    return 0, out.getvalue()


@pytest.fixture
def files(scene: Any) -> list[Attachment]:
    """A sealed record, and two papers of which the older one is lost."""
    tested(scene)
    old = paper(scene, name="old.pdf", on=date(2024, 1, 3))
    new = paper(scene, name="new.pdf", on=date(2026, 6, 1))
    default_storage.delete(old.file.name)
    return [old, new]


def test_everything_is_looked_at_and_how_much_it_was_is_said(files: list[Attachment]) -> None:
    code, said = run()
    size = sum(row.size for row in files)
    assert (code, said.splitlines()[-1]) == (
        1, f"1 sealed records and 2 stored files ({size} bytes) looked at, 1 findings."
    )  # fmt: skip
    assert said.startswith("lost: ")


def test_records_alone_read_no_file(files: list[Attachment]) -> None:
    assert run("--only=records") == (0, "1 sealed records looked at, 0 findings.\n")


def test_files_since_a_day_are_those_that_came_on_it_or_later(files: list[Attachment]) -> None:
    new = files[1]
    here = f"({new.size} bytes) looked at, 0 findings.\n"
    assert run("--only=files", "--since=2026-06-01") == (
        0, f"1 stored files that came since 2026-06-01 {here}"
    )  # fmt: skip
    assert run("--since=2026-06-02")[1].startswith("1 sealed records and 0 stored files")
    assert run("--only=files", "--since=2024-01-03")[0] == 1


def test_a_day_that_is_none_is_refused_with_what_would_be_right() -> None:
    with pytest.raises(CommandError, match="2026-13 is no day: write year, month and day"):
        run("--since=2026-13")


def test_progress_goes_to_a_terminal_alone_unless_it_is_asked_for(files: list[Attachment]) -> None:
    silent, asked = io.StringIO(), io.StringIO()
    run(to=silent)
    assert silent.getvalue() == ""
    run("--progress", to=asked)
    size = sum(row.size for row in files)
    last = f"2 of 2 files, {size} bytes of {size} bytes"
    assert asked.getvalue().splitlines()[0] == "1 of 1 sealed records"
    assert asked.getvalue().splitlines()[-1] == last


def test_on_a_terminal_one_line_is_written_over_and_gone_at_the_end(
    files: list[Attachment],
) -> None:
    terminal = Terminal()
    run(to=terminal)
    assert "\n" not in terminal.getvalue()
    words = terminal.getvalue().split("\r\x1b[K")
    assert "1 of 1 sealed records" in words
    assert words[-1] == ""
