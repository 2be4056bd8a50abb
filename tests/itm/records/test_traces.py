"""A chain whose end was cut off fits together as before; what came about with its seals tells."""

from datetime import date
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from calc.canonical import canonical_bytes, digest_bytes
from itm.core import triggers
from itm.records import chain, known
from itm.records.models import Seal
from itm.reports import services
from itm.reports.content_kept import grouped
from itm.reports.verifying import unsealed_reports
from tests.checks import checked
from tests.deeds import tested

SIGNED = "DELETE FROM records_move WHERE verb = 'sign'"
SIGN_LINES = "DELETE FROM core_change WHERE verb = 'sign'"
SEAL_LINES = "DELETE FROM core_change WHERE model = 'records.Seal'"


def cut_off(*traces):
    """The newest seal is taken out past all guards, its record is a draft again."""
    newest = Seal.objects.order_by("-pk")[0]
    table = newest.record._meta.db_table
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM records_seal WHERE id = %s", [newest.pk])
        cursor.execute(
            f"UPDATE {table} SET state = 'draft', sealed_at = NULL WHERE id = %s",
            [newest.record.pk],
        )
        for statement in traces:
            cursor.execute(statement)
    triggers.lay(connection)


def sentences():
    found = list(chain.verify())
    assert {one.kind for one in found} <= {"broken"}
    return [one.sentence for one in found]


@pytest.mark.parametrize("made", [tested, checked])
def test_a_chain_without_its_end_is_found_by_its_moves_and_the_history(scene, made):
    made(scene, on=date(2024, 6, 15))
    made(scene, on=date(2025, 6, 15))
    assert sentences() == []
    cut_off()
    said = " ".join(sentences())
    assert "Its life says that" in said
    assert "signed it, and it has no seal" in said
    assert "The history says that it was signed, and it has no seal" in said
    assert "The history says that it was made, with the digest" in said


@pytest.mark.parametrize(
    ("traces", "left"),
    [
        ((SIGN_LINES, SEAL_LINES), "signed it, and it has no seal"),
        ((SIGNED, SEAL_LINES), "The history says that it was signed, and it has no seal"),
        ((SIGNED, SIGN_LINES), "The history says that it was made, with the digest"),
    ],
)
def test_each_trace_tells_by_itself(scene, traces, left):
    tested(scene)
    cut_off(*traces)
    assert any(left in sentence for sentence in sentences())


def test_a_record_that_is_gone_with_all_its_rows_is_told_by_the_history(scene):
    checked(scene)
    cut_off(SIGNED, SEAL_LINES)
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE records_concentratecheck SET key = %s", [uuid4().hex])
    triggers.lay(connection)
    assert any("signed, and it is gone" in sentence for sentence in sentences())


def test_a_report_without_a_seal_tells_when_nothing_else_does(scene):
    test = tested(scene)
    services.store(test, None, b"%PDF %%EOF")
    assert list(unsealed_reports()) == []
    cut_off(SIGNED, SIGN_LINES, SEAL_LINES)
    [found] = unsealed_reports()
    assert (found.kind, found.sentence) == (
        "broken", "A report was made of this record, and it has no seal.",
    )  # fmt: skip


# Digests from outside -----------------------------------------------------------------------------


def asked(path):
    """Exit code of the command for this file of digests."""
    try:
        call_command("verify_records", known=path)
    except SystemExit as stop:
        return stop.code
    return 0


def rewritten():
    """The one seal is made anew with another signer, and everything that remembers it fits."""
    seal = Seal.objects.get()
    form = chain.parsed(seal)
    form["seal"]["signer"] = "Somebody else"
    data = canonical_bytes(form)
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE records_seal SET document = %s, digest = %s, signer = 'Somebody else'",
            [data, digest_bytes(data)],
        )
        line = "UPDATE core_change SET after = REPLACE(CAST(after AS text), %s, %s)"
        cast = "::jsonb" if connection.vendor == "postgresql" else ""
        where = " WHERE model = 'records.Seal'"
        for was, now in ((seal.digest, digest_bytes(data)), (seal.signer, "Somebody else")):
            cursor.execute(line + cast + where, [was, now])
    triggers.lay(connection)


def test_a_chain_written_anew_as_a_whole_shows_by_a_digest_that_left_with_a_mail(
    scene, tmp_path, capsys
):
    digest = tested(scene).seal.digest
    mail = tmp_path / "mail.txt"
    mail.write_text(f"Newest seals\n  - {scene.site}, number 1: {digest}\nStop these mails: x\n")
    assert asked(mail) == 0
    assert "1 digests of mail.txt looked at, 0 findings" in capsys.readouterr().out
    rewritten()
    call_command("verify_records", verbosity=0)  # nothing in the database itself tells
    assert asked(mail) == 1
    assert f"broken: mail.txt, line 2: No record here has the digest {digest}" in (
        capsys.readouterr().out
    )


@pytest.mark.parametrize(
    "told",
    [
        "{digest}",
        "Digest of the record 5: {grouped} and more",
        "{upper}",
        # RFC 5545, 3.1: a long line of a calendar goes on after the line break and a space.
        "DESCRIPTION:Newest seal of the site: number 1\\, {head}\r\n {tail}",
        "beef cafe\n{digest}\n{digest}\nadd",
    ],
)
def test_a_digest_is_read_as_people_copy_it(told):
    digest = digest_bytes(b"x")
    text = told.format(
        digest=digest, grouped=grouped(digest), upper=digest.upper(), head=digest[:20],
        tail=digest[20:],
    )  # fmt: skip
    assert [one.digest for one in known.digests_in(text)] == [digest]


def test_what_a_paper_prints_beside_the_digest_is_no_finding(scene, tmp_path):
    test = tested(scene)
    paper = tmp_path / "paper.txt"
    inputs = test.evaluations.get().inputs_digest
    paper.write_text(f"Digest {grouped(test.seal.digest)}\nInputs {grouped(inputs)}\n")
    assert len(known.digests_in(paper.read_text())) == 2
    assert asked(paper) == 0


@pytest.mark.parametrize(
    ("content", "words"),
    [(None, "cannot be read: No such file"), (b"12ab", "holds no digest"),
     (b"0" * 65, "holds no digest"), (b"\xff\x00", "holds no digest")],
)  # fmt: skip
@pytest.mark.django_db
def test_a_file_without_digests_is_refused_with_a_sentence(tmp_path, content, words):
    path = tmp_path / "known.txt"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CommandError, match=words):
        call_command("verify_records", known=path)
