"""What is in an archive: every model is asked about, and of each row the right ones."""

import json
from datetime import date

import pytest
from django.apps import apps

from itm.archives.columns import columns
from itm.archives.tables import BY_MODEL, LEFT_OUT, LEFT_OUT_COLUMNS, TABLES, Sight
from itm.archives.words import layout
from itm.archives.writing import Written, write_rows
from itm.archives.zipping import Sink
from tests.archiving import (
    a_day_under_way,
    a_test_that_went_back,
    archived,
    checks_of_the_tank,
    contents,
    rows,
)
from tests.deeds import prepared, tested
from tests.factories import FoamSystemFactory, SiteFactory


def test_every_model_is_in_it_or_left_out_with_a_reason():
    every = {m._meta.label for m in apps.get_models() if m.__module__.startswith("itm.")}
    kept = {model._meta.label for model in BY_MODEL}
    assert kept & LEFT_OUT.keys() == set()
    assert every - kept - LEFT_OUT.keys() == set()
    assert (kept | LEFT_OUT.keys()) - every == set()
    assert all(len(reason) > 10 for reason in LEFT_OUT.values())


def test_no_column_holds_a_primary_key_and_every_reference_has_its_table():
    for table in TABLES:
        for column in columns(table):
            assert not column.field.primary_key
            if column.field.is_relation:
                assert column.points_to is not None, f"{table.name}.{column.name}"


def test_nothing_by_which_a_person_signs_in_is_a_column():
    from itm.accounts.models import User

    names = {column.name for column in columns(BY_MODEL[User])}
    assert names == {"key", "name", "qualification", "licence_number", "licence_expires_on"}
    assert {"email", "password"} <= LEFT_OUT_COLUMNS[User]


def test_the_description_names_every_column():
    text = layout()
    for table in TABLES:
        assert f"\n{table.name}.jsonl (" in text
        for column in columns(table):
            assert f"\n  {column.name}: " in text


@pytest.mark.django_db
def test_drafts_of_others_and_plans_are_not_in_it(scene, tmp_path):
    sealed = tested(scene, on=date(2024, 6, 15))
    handed_in = tested(scene, on=date(2025, 6, 15), until="handed_in")
    draft = prepared(scene).test
    checks_of_the_tank(scene)
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    assert {row["key"] for row in rows(path, "tests")} == {str(sealed.key), str(handed_in.key)}
    assert {row["state"] for row in rows(path, "checks")} == {"sealed", "handed_in"}
    everything = b"".join(contents(path).values())
    # The visit has begun, so it is in; the bench, the runs and the history of the draft are not.
    assert str(draft.visit.key).encode() in everything
    assert str(draft.key).encode() not in everything
    assert str(draft.bench.key).encode() not in everything


@pytest.mark.django_db
def test_a_record_that_went_back_is_a_bare_row_because_a_deficiency_names_it(scene, tmp_path):
    a_test_that_went_back(scene)
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    [test], [bench] = rows(path, "tests"), rows(path, "benches")
    assert {row["test"] for row in rows(path, "deficiencies")} == {test["key"]}
    assert test["bench"] == bench["key"]
    for name in ("bottles", "readings", "flow-runs", "moves", "evaluations"):
        assert rows(path, name) == []
    assert test["key"] not in {line["key"] for line in rows(path, "history")}


@pytest.mark.django_db
def test_photos_of_a_draft_wait_until_it_is_handed_over(scene, tmp_path):
    a_day_under_way(scene)
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    assert rows(path, "tests") == []
    # Its restoration list is the owner's to know, because a valve is left out of service.
    assert {row["outcome"] for row in rows(path, "restoration-lines")} == {"", "left_out"}


@pytest.mark.django_db
def test_what_was_measured_with_stands_in_the_sealed_bytes_whatever_came_later(scene, tmp_path):
    """So the history of instruments, which is their keeper's, is not needed to read a record."""
    tested(scene)
    paper = scene.instrument.certificates.get()
    sealed_as = {"certificate": paper.number, "certificate_due_on": paper.due_on.isoformat()}
    paper.number = "put right since"
    paper.save(by=scene.contractor)
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    [instrument], [certificate] = rows(path, "instruments"), rows(path, "certificates")
    assert certificate["instrument"] == instrument["key"] == str(scene.instrument.key)
    assert certificate["number"] == "put right since"
    [sealed] = [data for name, data in contents(path).items() if name.startswith("sealed/")]
    meter = json.loads(sealed)["bench"]["instrument"]
    assert {name: meter[name] for name in sealed_as} == sealed_as
    assert (meter["key"], meter["resolution"]) == (
        str(scene.instrument.key), str(scene.instrument.resolution.normalize()),
    )  # fmt: skip
    told = {line["of"] for line in rows(path, "history")}
    assert told & {"instruments", "certificates"} == set()


@pytest.mark.django_db
def test_other_sites_of_the_owner_are_not_in_it(scene, tmp_path):
    other = SiteFactory(owner=scene.owner.organisation)
    system = FoamSystemFactory(site=other)
    everything = b"".join(contents(archived(scene.owner, scene.site, tmp_path / "a.zip")).values())
    assert str(other.key).encode() not in everything
    assert str(system.key).encode() not in everything


@pytest.mark.django_db
def test_rows_come_in_a_number_of_queries_that_does_not_grow(scene, django_assert_num_queries):
    """What is named is looked up a table at a time, the history five hundred lines at a time."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            write_rows(Sink(), Sight(scene.owner, scene.site), Written())
        return len(seen)

    tested(scene, on=date(2018, 6, 15))
    one = queries()
    for year in range(2019, 2023):
        tested(scene, on=date(year, 6, 15))
    assert queries() <= one + 12
