"""The pages of an import: the file, what is asked, what is shown before, and what is taken back."""

import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from itm import worker
from itm.core import outbox
from itm.doors import files
from itm.intake.layouts import LAYOUTS
from itm.intake.models import Upload
from itm.records import past
from tests.factories import PastResultFactory
from tests.itm.intake.imports import taken

HEAD = "site;proportioner;flow_point;tested_on;percent"


@pytest.fixture
def owner(scene, client, sign_in):
    return sign_in(client, scene.owner)


def table(scene, *rows: str) -> str:
    lines = [f"{scene.site.name};{scene.proportioner.tag};design;{row}" for row in rows]
    return "\n".join([HEAD, *lines]) + "\n"


def send(client, data: str | bytes, *, kind: str = "history", name: str = "old.csv", at: str = ""):
    raw = data.encode() if isinstance(data, str) else data
    chosen = SimpleUploadedFile(name, raw)
    there = f"{reverse('import_new')}{at}"
    return client.post(there, {"kind": kind, "chosen": chosen}, follow=True)


def latest() -> Upload:
    return Upload.objects.latest("pk")


def test_a_file_is_shown_as_understood_before_it_is_taken_in(scene, owner):
    page = send(owner, table(scene, "2012-05-14;3.12", "2013-05-10;3.2")).content.decode()
    assert "14 May 2012" in page
    assert "Take in 2 rows" in page
    assert not past.results(scene.owner).exists()
    said = owner.post(reverse("import_take", args=[latest().key]), follow=True).content.decode()
    assert "Taken in: 2 rows of old.csv" in said
    assert past.results(scene.owner).count() == 2


def test_a_question_is_asked_once_and_its_answer_is_shown_in_words(scene, owner):
    page = send(owner, table(scene, "03/04/2026;3.1")).content.decode()
    assert "3 Apr 2026" in page
    assert "4 Mar 2026" in page
    assert "Take in" not in page
    key = latest().key
    questions = latest().findings["questions"]
    there = reverse("import_answer", args=[key])
    refused = owner.post(there, {})
    assert refused.status_code == 422
    assert "nothing is guessed here" in refused.content.decode()
    said = {f"q{n}": one["found"] or "dmy" for n, one in enumerate(questions)}
    after = owner.post(there, said, follow=True)
    assert "Take in 1 row" in after.content.decode()
    assert "3 Apr 2026" in after.content.decode()


def test_each_problem_stands_at_its_cell_with_what_would_be_right(scene, owner):
    page = send(owner, table(scene, "2012-05-14;three")).content.decode()
    assert "1 problem" in page
    assert "E2" in page
    assert "“three” is no figure." in page
    assert "Write one figure" in page
    assert "Take in" not in page


def test_foreign_heads_are_mapped_once_and_remembered(scene, owner):
    text = table(scene, "2012-05-14;3.12").replace(HEAD, "Ort;Gerät;Punkt;Tag;Anteil")
    page = send(owner, text).content.decode()
    assert "Choose the columns" in page
    there = reverse("import_columns", args=[latest().key])
    assert "A: Ort" in owner.get(there).content.decode()
    columns = {"site": 0, "proportioner": 1, "flow_point": 2, "tested_on": 3, "percent": 4}
    sent = {f"column-{name}": str(at) for name, at in columns.items()} | {"head": "1"}
    after = owner.post(there, sent, follow=True).content.decode()
    assert "Take in 1 row" in after
    again = text.replace("3.12", "3.13").replace("2012", "2013")
    assert "Take in 1 row" in send(owner, again, name="next.csv").content.decode()


def test_a_column_that_is_needed_is_asked_for_and_one_cannot_be_two(scene, owner):
    send(owner, table(scene, "2012-05-14;3.12"))
    there = reverse("import_columns", args=[latest().key])
    answer = owner.post(there, {"head": "1", "column-site": "0"})
    assert answer.status_code == 422
    assert "Say which column of the file holds" in answer.content.decode()
    answer = owner.post(there, {"head": "1", "column-site": "0", "column-system": "0"})
    assert "One column cannot be both" in answer.content.decode()


def test_another_row_of_heads_is_looked_at_anew(scene, owner):
    send(owner, "site;tag\n" + table(scene, "2012-05-14;3.12").replace(HEAD, "a;b;c;d;e"))
    key = latest().key
    owner.post(reverse("import_columns", args=[key]), {"head": "2"}, follow=True)
    assert latest().findings["names"] == ["a", "b", "c", "d", "e"]


def test_a_file_that_cannot_be_read_says_why(owner):
    page = send(owner, bytes(range(256)) * 9).content.decode()
    assert "neither a text with columns nor a workbook" in page
    page = send(owner, b"%PDF-1.7 named otherwise", name="a.xlsx")
    assert page.status_code == 422
    assert "is a PDF" in page.content.decode()


def test_too_large_a_file_is_dropped_while_it_arrives(owner):
    page = send(owner, b"a;b\n" * 4_000_000)
    assert page.status_code == 422
    assert "larger than 15 MB" in page.content.decode()
    assert not Upload.objects.exists()


def test_nothing_chosen_is_said(owner):
    answer = owner.post(reverse("import_new"), {"kind": "history"})
    assert answer.status_code == 422
    assert not Upload.objects.exists()


def test_the_name_of_a_file_is_cleaned_and_never_reaches_the_disk(scene, owner):
    send(owner, table(scene, "2012-05-14;3.1"), name="../../ev\u202eil<b>.csv")
    row = latest()
    assert row.name == "evil<b>.csv"
    assert row.file.name.startswith("uploads/")
    page = owner.get(reverse("import", args=[row.key])).content.decode()
    assert "evil&lt;b&gt;.csv" in page


def test_the_original_is_saved_as_it_came_and_runs_nothing(scene, owner):
    text = table(scene, "2012-05-14;3.1")
    send(owner, text, name="page.html")
    answer = owner.get(reverse("import_file", args=[latest().key]))
    assert b"".join(answer.streaming_content) == text.encode()
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_the_same_file_again_leads_to_the_first(scene, owner):
    text = table(scene, "2012-05-14;3.1")
    send(owner, text)
    page = send(owner, text, name="copy.csv").content.decode()
    assert "is here already" in page
    assert Upload.objects.count() == 1


def test_a_whole_import_is_taken_back_with_its_reason(scene, owner):
    row = taken(scene.owner, "history", table(scene, "2012-05-14;3.1"))
    there = reverse("import_undo", args=[row.key])
    assert owner.post(there, {"because": ""}).status_code == 422
    page = owner.post(there, {"because": "wrong folder"}, follow=True).content.decode()
    assert "wrong folder" in page
    assert not past.results(scene.owner).exists()


def test_a_file_that_is_not_wanted_stays_among_the_imports(scene, owner):
    send(owner, table(scene, "2012-05-14;3.1"))
    page = owner.post(reverse("import_drop", args=[latest().key]), follow=True).content.decode()
    assert "not taken in" in page
    assert latest().state == "dropped"


def test_a_long_file_waits_for_the_worker_and_its_page_looks_again(scene, owner, monkeypatch):
    monkeypatch.setattr(files, "AT_ONCE", 10)
    page = send(owner, table(scene, "2012-05-14;3.1", "2013-05-14;3.2")).content.decode()
    assert 'hx-trigger="every 2s"' in page
    assert '<noscript><meta http-equiv="refresh"' in page
    assert outbox.drain() == 1
    key = latest().key
    there = reverse("import", args=[key])
    assert "Take in 2 rows" in owner.get(there).content.decode()
    owner.post(reverse("import_take", args=[key]))
    assert latest().state == "taking"
    assert outbox.drain() >= 1
    assert latest().state == "done"
    assert past.results(scene.owner).count() == 2


def test_a_refusal_of_the_worker_stands_on_the_page(scene, owner, monkeypatch):
    monkeypatch.setattr(files, "AT_ONCE", 10)
    send(owner, table(scene, "2012-05-14;3.1"))
    outbox.drain()
    PastResultFactory(proportioner=scene.proportioner)
    owner.post(reverse("import_take", args=[latest().key]))
    outbox.drain()
    page = owner.get(reverse("import", args=[latest().key])).content.decode()
    assert "Nothing was taken in" in page
    assert past.results(scene.owner).count() == 1


@pytest.mark.parametrize("kind", [*LAYOUTS, "readings"])
def test_columns_and_examples_of_every_kind_are_there(owner, kind):
    assert owner.get(reverse("import_layout", args=[kind])).status_code == 200
    text = owner.get(reverse("import_csv", args=[kind])).content.decode("utf-8-sig")
    import csv

    import openpyxl

    rows = list(csv.reader(io.StringIO(text)))
    data = owner.get(reverse("import_xlsx", args=[kind])).content
    sheet = openpyxl.load_workbook(io.BytesIO(data)).active
    there = [[cell or "" for cell in row] for row in sheet.iter_rows(values_only=True)]
    assert there == rows
    assert all(cell.number_format == "@" for cell in sheet[2])


def test_an_unknown_kind_of_table_is_not_found(owner):
    assert owner.get(reverse("import_layout", args=["nothing"])).status_code == 404


def test_results_of_past_years_stand_in_the_trend_marked_as_reported(scene, owner):
    PastResultFactory(proportioner=scene.proportioner, percent_typed="3,12 %", outcome="passed")
    page = owner.get(reverse("trend", args=[scene.proportioner.key])).content.decode()
    assert "As older papers report" in page or "as older papers report" in page
    assert "Not computed here" in page
    assert "3,12 %" in page
    assert "1 more as older papers report" in page  # the words beside the plot


def test_the_list_and_the_page_of_a_result_say_what_it_is(scene, client, sign_in):
    result = PastResultFactory(proportioner=scene.proportioner)
    authority = sign_in(client, scene.authority)
    listed = authority.get(f"{reverse('past_results')}?of={scene.proportioner.key}")
    assert "14 May 2012" in listed.content.decode()
    page = authority.get(reverse("past_result", args=[result.key])).content.decode()
    assert "Not computed here" in page
    assert "Withdraw" not in page


def test_one_result_is_withdrawn_with_a_reason(scene, owner):
    result = PastResultFactory(proportioner=scene.proportioner)
    there = reverse("past_withdraw", args=[result.key])
    assert owner.post(there, {"reason": " "}).status_code == 422
    page = owner.post(there, {"reason": "another device"}, follow=True).content.decode()
    assert "another device" in page
    assert not past.results(scene.owner).exists()


def failing(monkeypatch, kind: str) -> None:
    """The job of that kind fails as it would where the disk is full."""

    def fail(**payload):
        raise OSError("disk full")

    monkeypatch.setitem(worker.JOBS, kind, fail)
    outbox._function.cache_clear()


def tried_until_given_up() -> None:
    for _ in range(files.FILE_TRIES):
        outbox.Job.objects.update(not_before=timezone.now())
        outbox.drain()


@pytest.fixture
def long_files(monkeypatch):
    """Every file counts as long, so that each look waits for the worker."""
    monkeypatch.setattr(files, "AT_ONCE", 0)
    yield
    outbox._function.cache_clear()


def test_a_look_that_is_given_up_ends_the_waiting_and_can_be_tried_again(
    scene, owner, long_files, monkeypatch
):
    with monkeypatch.context() as broken:
        failing(broken, "look_through_file")
        send(owner, table(scene, "2012-05-14;3.12"))
        there = reverse("import", args=[latest().key])
        assert 'hx-trigger="every 2s"' in owner.get(there).content.decode()
        tried_until_given_up()
    outbox._function.cache_clear()
    page = owner.get(there).content.decode()
    assert 'hx-trigger="every 2s"' not in page
    assert "failed several times" in page
    owner.post(reverse("import_again", args=[latest().key]))
    assert latest().state == "waiting"
    outbox.drain()
    assert "Take in 1 row" in owner.get(there).content.decode()


def test_taking_in_that_is_given_up_has_taken_nothing_and_offers_it_again(
    scene, owner, long_files, monkeypatch
):
    send(owner, table(scene, "2012-05-14;3.12"))
    outbox.drain()
    take = reverse("import_take", args=[latest().key])
    with monkeypatch.context() as broken:
        failing(broken, "take_file_in")
        owner.post(take)
        assert latest().state == "taking"
        tried_until_given_up()
    outbox._function.cache_clear()
    page = owner.get(reverse("import", args=[latest().key])).content.decode()
    assert "nothing of it was taken in" in page
    assert not past.results(scene.owner).exists()
    owner.post(take)
    outbox.drain()
    assert past.results(scene.owner).count() == 1
    assert "nothing of it was taken in" not in owner.get(
        reverse("import", args=[latest().key])
    ).content.decode()  # fmt: skip


def test_a_look_that_kills_its_process_each_time_is_given_up_as_well(scene, owner, long_files):
    send(owner, table(scene, "2012-05-14;3.12"))
    for _ in range(files.FILE_TRIES):
        assert outbox.claim() is not None  # and its process dies
        outbox.Job.objects.update(leased_until=timezone.now() - timedelta(seconds=1))
    outbox.drain()
    assert latest().findings["stop_code"] == "gave_up"
    assert outbox.Job.objects.get().gave_up_at is not None


def test_figures_are_shown_with_every_digit_that_was_typed(scene, owner):
    page = send(owner, table(scene, "2012-05-14;3.10")).content.decode()
    assert "<td>3.10</td>" in page
    assert latest().findings["preview"]["rows"][0][-1] == "3.10"


def test_the_same_figure_with_other_zeros_is_the_same_content(scene, owner):
    taken(scene.owner, "history", table(scene, "2012-05-14;3.10"))
    page = send(owner, table(scene, "2012-05-14;3.1"), name="again.csv").content.decode()
    assert "The same content was taken in" in page
