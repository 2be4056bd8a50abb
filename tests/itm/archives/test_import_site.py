"""The command that begins an installation with an archive."""

import io

import pytest
from django.core.management import CommandError, call_command

from itm.archives import reading
from itm.registry.models import Site

pytestmark = pytest.mark.django_db


def run(*arguments):
    out = io.StringIO()
    call_command("import_site", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_looks_without_taking_anything_in(path):
    said = run(str(path), "--look")
    assert "Nothing was taken in." in said
    assert not Site.objects.exists()


def test_the_command_takes_it_in_and_says_what_to_do_next(path):
    said = run(str(path))
    assert "The data come out again as they came in." in said
    assert "add_person" in said
    call_command("verify_records", stdout=io.StringIO())
    call_command("verify_standing", stdout=io.StringIO())


def test_the_command_compares_the_digest_of_the_page(path):
    with reading.opened(path) as (_, sha256):
        pass
    with pytest.raises(CommandError, match="not the file of that digest"):
        run(str(path), "--sha256", "0" * 64)
    assert "1 people" in run(str(path), "--sha256", sha256.upper())


def test_a_path_without_a_file_is_said(tmp_path):
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        run(str(tmp_path / "none.zip"))
