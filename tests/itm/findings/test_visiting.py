"""An authority notes a visit of its own: read by owner and authority, never changed."""

import io
from datetime import UTC, date, datetime

import pytest
from django.core.files.storage import default_storage
from django.db import DatabaseError, connection, transaction

from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.findings import asking, visiting
from itm.findings.models import AuthorityFile, AuthorityVisit
from itm.registry.attaching import Upload
from itm.registry.models import Attachment
from itm.registry.queries import authorities_of
from itm.retention.verifying import verify_files
from tests.conftest import new_scene
from tests.factories import TODAY, OrganisationFactory, SiteAuthorityFactory, actor_of
from tests.itm.registry.pictures import PDF, picture

AT = datetime(2026, 6, 15, 18, tzinfo=UTC)
DAY = date(2026, 6, 15)
SAID = {
    "visited_on": DAY, "present": "A. Inspector, the duty engineer",
    "looked_at": "The pump room. Two valves stood closed without a seal.",
}  # fmt: skip


def upload(data: bytes, name: str) -> Upload:
    return Upload(io.BytesIO(data), name)


def noted(scene, **more) -> AuthorityVisit:
    return visiting.note_visit(
        actor=scene.authority, site=scene.site, at=AT, **{**SAID, **more}
    )  # fmt: skip


def test_owner_and_authority_read_it_and_an_engaged_contractor_does_not(scene):
    row = noted(scene)
    other = OrganisationFactory(kind="authority")
    SiteAuthorityFactory(site=scene.site, organisation=other)
    for actor in (scene.owner, scene.authority, actor_of(other)):
        assert visiting.visit(actor, row.key) == row
    for actor in (scene.contractor, new_scene().owner, new_scene().authority):
        with pytest.raises(NotFound):
            visiting.visit(actor, row.key)


def test_who_noted_it_reads_it_also_when_it_looks_after_the_site_no_longer(scene):
    row = noted(scene)
    held = scene.site.site_authorities.get(organisation=scene.authority.organisation)
    held.ended_on = date(2026, 6, 1)
    held.save(by=scene.authority)
    assert visiting.visit(scene.authority, row.key) == row
    with pytest.raises(Forbidden):
        noted(scene)


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"visited_on": date(2026, 6, 16)}, "day_ahead"),
        ({"present": "  "}, "present_missing"),
        ({"looked_at": ""}, "looked_at_missing"),
    ],
)
def test_a_note_says_day_people_and_what_was_looked_at(scene, wrong, code):
    with pytest.raises(Refused) as refused:
        noted(scene, **wrong)
    assert (refused.value.code, refused.value.place) == (code, next(iter(wrong)))
    assert not AuthorityVisit.objects.exists()


def test_only_an_authority_of_the_site_notes_a_visit(scene):
    for actor in (scene.owner, scene.contractor, new_scene().authority):
        with pytest.raises(Forbidden):
            visiting.note_visit(actor=actor, site=scene.site, at=AT, **SAID)


def test_the_database_itself_refuses_to_change_or_delete_it(scene):
    noted(scene, uploads=[upload(picture(), "valve.png")])
    for statement in (
        "UPDATE findings_authorityvisit SET looked_at = 'nothing'",
        "UPDATE findings_authorityvisit SET present = 'nobody'",
        "DELETE FROM findings_authorityvisit",
        "UPDATE findings_authorityfile SET file = 'authority/other.jpg'",
        "DELETE FROM findings_authorityfile",
    ):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            connection.cursor().execute(statement)


def test_it_is_withdrawn_with_a_reason_and_stays_to_be_read(scene):
    row = noted(scene)
    with pytest.raises(Forbidden, match="who noted it"):
        visiting.withdraw_visit(actor=scene.owner, visit=row, because="no", at=AT)
    with pytest.raises(Refused, match="what is wrong"):
        visiting.withdraw_visit(actor=scene.authority, visit=row, because=" ", at=AT)
    gone = visiting.withdraw_visit(actor=scene.authority, visit=row, because="other site", at=AT)
    assert (gone.withdrawn_by, gone.withdrawn_because) == (scene.authority.person, "other site")
    assert visiting.visit(scene.owner, row.key).looked_at == SAID["looked_at"]
    [held] = visiting.with_last_visit(scene.owner, authorities_of(scene.owner, scene.site))
    assert held.last_visit is None
    with pytest.raises(Conflict):
        visiting.withdraw_visit(actor=scene.authority, visit=row, because="again", at=AT)
    gone.withdrawn_because = "another"
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        gone.save(by=scene.authority)


def test_a_wrong_note_is_put_right_by_another_that_has_its_files(scene):
    row = noted(scene, uploads=[upload(picture(), "valve.png")], caption="the valve")
    right = visiting.correct_visit(
        actor=scene.authority, visit=row, because="the day was wrong", at=AT,
        **{**SAID, "visited_on": date(2026, 6, 14)}, uploads=[upload(PDF, "list.pdf")],
    )  # fmt: skip
    row.refresh_from_db()
    assert right.replaces == row
    assert row.withdrawn_because == "the day was wrong"
    assert [one.name for one in visiting.files_of(scene.owner, right)] == ["valve.png", "list.pdf"]
    assert [one.name for one in visiting.files_of(scene.owner, row)] == ["valve.png"]


def test_a_refused_correction_withdraws_nothing_and_leaves_no_file(scene):
    row = noted(scene)
    with pytest.raises(Refused):
        visiting.correct_visit(
            actor=scene.authority, visit=row, because="x", at=AT, **SAID,
            uploads=[upload(PDF, "list.pdf"), upload(b"no picture", "odd.jpg")],
        )  # fmt: skip
    row.refresh_from_db()
    assert row.withdrawn_at is None
    assert not AuthorityFile.objects.exists()
    stored = default_storage.listdir("authority")[1] if default_storage.exists("authority") else []
    assert stored == []


def test_its_files_are_none_of_the_sites_and_shown_to_no_contractor(scene):
    row = noted(scene, uploads=[upload(picture(), "valve.png"), upload(PDF, "list.pdf")])
    photo, paper = visiting.files_of(scene.owner, row)
    assert (photo.is_picture, bool(photo.preview)) == (True, True)
    assert (paper.is_picture, bool(paper.preview)) == (False, False)
    assert not Attachment.objects.exists()
    assert visiting.files_of(scene.contractor, row) == []
    with pytest.raises(NotFound):
        visiting.file_to_serve(scene.contractor, photo.key)
    visiting.withdraw_file(actor=scene.authority, row=photo, because="a face", at=AT)
    for actor in (scene.owner, scene.authority):
        with pytest.raises(NotFound):
            visiting.file_to_serve(actor, photo.key)
    assert visiting.file_to_serve(scene.owner, paper.key) == paper


def test_a_file_that_is_withdrawn_is_shown_on_the_note_before_neither(scene):
    row = noted(scene, uploads=[upload(picture(), "valve.png")])
    right = visiting.correct_visit(
        actor=scene.authority, visit=row, because="a name", at=AT, **SAID
    )  # fmt: skip
    [photo] = visiting.files_of(scene.authority, right)
    visiting.withdraw_file(actor=scene.authority, row=photo, because="a face", at=AT)
    [before] = visiting.files_of(scene.owner, row)
    assert before.withdrawn_because == "a face"


def test_a_file_that_the_store_has_lost_or_altered_is_found(scene):
    row = noted(scene, uploads=[upload(PDF, "list.pdf"), upload(picture(), "valve.png")])
    paper, photo = visiting.files_of(scene.owner, row)
    assert list(verify_files()) == []
    default_storage.delete(paper.file.name)
    with default_storage.open(photo.file.name, "wb") as file:
        file.write(b"another")
    found = {one.kind: one.place for one in verify_files()}
    assert set(found) == {"lost", "altered"}
    assert found["lost"] == f"{scene.site}, file list.pdf of a visit of an authority"


def test_the_same_file_twice_is_refused_by_name(scene):
    twice = [upload(PDF, "list.pdf"), upload(PDF, "again.pdf")]
    with pytest.raises(Refused, match="is already here"):
        noted(scene, uploads=twice)


def test_an_order_names_the_visit_that_it_came_from(scene):
    row = noted(scene)
    made = asking.order(
        actor=scene.authority, site=scene.site, words="Seal both valves", due_on=TODAY, at=AT,
        authority_visit=row,
    )  # fmt: skip
    assert list(row.orders.all()) == [made]
    assert visiting.visit(scene.owner, row.key).ordered == 1
    visiting.withdraw_visit(actor=scene.authority, visit=row, because="other site", at=AT)
    row.refresh_from_db()
    with pytest.raises(Refused, match="not withdrawn"):
        asking.order(
            actor=scene.authority, site=scene.site, words="x", due_on=TODAY, at=AT,
            authority_visit=row,
        )  # fmt: skip


def test_an_order_names_no_visit_of_another_authority(scene):
    row = noted(scene)
    other = OrganisationFactory(kind="authority")
    SiteAuthorityFactory(site=scene.site, organisation=other)
    with pytest.raises(Refused, match="of your own"):
        asking.order(
            actor=actor_of(other), site=scene.site, words="x", due_on=TODAY, at=AT,
            authority_visit=row,
        )  # fmt: skip


def test_the_history_has_the_note_and_its_end(scene):
    row = noted(scene)
    visiting.withdraw_visit(actor=scene.authority, visit=row, because="other site", at=AT)
    lines = Change.objects.filter(object_key=row.key).order_by("pk")
    assert [(line.verb, line.person) for line in lines] == [
        ("noted", scene.authority.person), ("withdrawn", scene.authority.person),
    ]  # fmt: skip
