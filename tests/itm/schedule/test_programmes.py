"""The programmes an installation starts with: complete, honest about their sources, in order."""

from collections import Counter

import pytest
from django.db import IntegrityError, transaction

from itm.registry.models import Equipment, FoamSystem, Proportioner, Tank
from itm.registry.models.equipment import VARIETIES
from itm.schedule.applies import split
from itm.schedule.loading import STARTING, read
from itm.schedule.models import Programme, Requirement

FILES = [read(name) for name in STARTING]
ROWS = [(file, row) for file in FILES for row in file["rows"]]
KINDS = ("yes_no", "number", "text", "photo", "choice")


def row(code: str) -> dict:
    [found] = [row for _, row in ROWS if row["code"] == code]
    return found


def figures(code: str) -> tuple:
    found = row(code)
    return tuple(found[name] for name in ("unit", "earliest", "interval", "latest"))


# Against the documents --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        # NFPA 25 (2020) 3.7, frequencies: quarterly 2 to 4 months looked up, second-hand; annual 9
        # to 15 and five-year 54 to 66 months from memory; weekly and monthly once in the calendar.
        ("N25-01", ("calendar_weeks", 1, 1, 1)),
        ("N25-02", ("calendar_months", 1, 1, 1)),
        ("N25-03", ("months", 2, 3, 4)),
        ("N25-17", ("months", 9, 12, 15)),
        ("N25-25", ("months", 54, 60, 66)),
        # MSC.1/Circ.1432 (2012) annex, no tolerance: quarterly quantity, mixing (9.2.4).
        ("IMO-02", ("months", 0, 3, 3)),
        ("IMO-07", ("months", 0, 60, 60)),
        # 46 CFR 31.10-18(a): at least once in every 12 months.
        ("CG-01", ("months", 0, 12, 12)),
        # 29 CFR 1910.160(b)(7): at least semi-annually.
        ("OSHA-02", ("months", 0, 6, 6)),
        # New York City Fire Code 904.5.1 and 904.5.2: monthly, and at least semi-annually.
        ("NYC-01", ("calendar_months", 1, 1, 1)),
        ("NYC-02", ("months", 0, 6, 6)),
        # 14 CFR 139.319 asks for all operations; daily is common practice, no published source.
        ("AV-05", ("days", 0, 1, 1)),
        # EN 13565-2:2018: proportioning at least annually.
        ("EN-02", ("months", 0, 12, 12)),
    ],
)
def test_windows_are_those_of_the_documents(code, expected):
    assert figures(code) == expected


def test_first_analysis_on_ships_may_take_thirty_six_months():
    """MSC.1/Circ.1312 (2009) section 4, as summarised on an open page."""
    assert row("IMO-04")["first"] == 36


def test_military_notice_comes_after_seventy_two_hours():
    """UFC 3-601-02 (2010) 1-11.3.1."""
    assert (row("DOD-02")["events"], row("DOD-02")["within_days"]) == (["inoperable"], 3)


# As data ----------------------------------------------------------------------------------------


def test_all_rows_are_there_and_each_code_once():
    """81 rows of the collection as of 2026-11, in ten programmes, and the two that hold everywhere.

    How many there are: project's own collection, each row with a source of its own.
    """
    counts = {file["code"]: len(file["rows"]) for file in FILES}
    assert counts.pop("yearly-test-and-check") == 2
    assert sum(counts.values()) == 81
    assert len(counts) == 10
    assert max(Counter(row["code"] for _, row in ROWS).values()) == 1


@pytest.mark.parametrize(("file", "row"), ROWS, ids=[row["code"] for _, row in ROWS])
def test_each_row_says_where_it_comes_from_and_how_sure_it_is(file, row):
    assert row["source"]
    assert row["confidence"] in {
        "looked up",
        "looked up, second-hand",
        "from memory, medium",
        "from memory, low",
        "common practice, no source",
        "not confirmed",
    }
    assert row["words"]
    assert file["edition"]


@pytest.mark.parametrize("row", [row for _, row in ROWS], ids=lambda row: row["code"])
def test_each_row_names_things_that_the_registry_knows(row):
    concentrate = {"pfas", "high_expansion", "protein_ar", "not_protein_ar"}
    known: dict[str, set[str]] = {
        "proportioner": set(Proportioner.Kind.values),
        "tank": set(Tank.Kind.values),
        "concentrate": concentrate,
        "system": set(FoamSystem.Kind.values),
        "site": concentrate,
        "instrument": set(),
        **{kind: set(VARIETIES.get(kind, ())) for kind in Equipment.Kind.values},
    }
    assert row["applies_to"]
    for kind, variety in map(split, row["applies_to"]):
        assert kind in known
        assert variety == "any" or variety in known[kind], f"{kind}:{variety}"


@pytest.mark.parametrize("row", [row for _, row in ROWS], ids=lambda row: row["code"])
def test_each_want_can_be_asked_on_a_form(row):
    keys = [want["key"] for want in row["evidence"]]
    assert len(keys) == len(set(keys))
    for want in row["evidence"]:
        assert want["kind"] in KINDS
        assert want["label"]
        assert (want["kind"] == "choice") == bool(want.get("choices"))
        assert (want["kind"] == "number") == ("unit" in want)
    if row["task"] != "proportioning_test" and row["confidence"] != "not confirmed":
        assert row["evidence"], "a person needs something to fill in"


def test_codes_of_rows_stay_off_what_people_read():
    codes = [row["code"] for _, row in ROWS]
    shown = ("words", "acceptance", "window_words", "source", "confidence")
    for _, row in ROWS:
        labels = [want["label"] for want in row["evidence"]]
        for text in [*(row[name] for name in shown), *labels]:
            assert not [code for code in codes if code in text], text
            assert "check-value" not in text


@pytest.mark.parametrize("row", [row for _, row in ROWS], ids=lambda row: row["code"])
def test_each_row_says_when_or_what_brings_it_on(row):
    known = set(Requirement.Event.values)
    assert set(row["events"]) <= known
    assert bool(row["events"]) == (row["within_days"] is not None)
    ways = [row["interval"] is not None, bool(row["events"]), row["by_date"] is not None]
    assert sum(ways) == (0 if row["confidence"] == "not confirmed" else 1)


def test_the_database_holds_what_the_files_hold(db):
    assert Requirement.objects.count() == len(ROWS)
    for held in Requirement.objects.select_related("programme"):
        [(file, found)] = [pair for pair in ROWS if pair[1]["code"] == held.code]
        assert held.programme.code == file["code"]
        assert held.first_latest == found["first"]
        same = ("task", "words", "applies_to", "unit", "interval", "earliest", "latest", "events")
        same += ("within_days", "condition", "evidence", "acceptance", "source", "confidence")
        assert {name: getattr(held, name) for name in same} == {name: found[name] for name in same}


def test_loading_twice_changes_nothing(db):
    from importlib import import_module

    from django.apps import apps

    before = list(Requirement.objects.order_by("pk").values())
    import_module("itm.schedule.migrations.0005_starting_programmes").load(apps, None)
    assert list(Requirement.objects.order_by("pk").values()) == before


def test_rows_from_memory_or_habit_ask_to_be_confirmed(db):
    asks = {held.confidence for held in Requirement.objects.all() if held.needs_confirmation}
    assert asks == {
        "from memory, medium",
        "from memory, low",
        "common practice, no source",
        "not confirmed",
    }


# Refused by the database ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [
        {"interval": 0, "earliest": 0, "latest": 0},
        {"interval": 12, "earliest": 13, "latest": 15},
        {"interval": 12, "earliest": 9, "latest": 11},
        {"interval": 12, "earliest": 0, "latest": 13},  # a window wider than the interval
        {"interval": 12, "earliest": None, "latest": 12},
    ],
)
def test_windows_out_of_order_are_refused(db, wrong):
    held = Programme.objects.get(everywhere=True)
    good = {"interval": 12, "earliest": 9, "latest": 15}
    Requirement.objects.create(programme=held, code="good", task="inspection", **good)
    with pytest.raises(IntegrityError), transaction.atomic():
        Requirement.objects.create(programme=held, code="wrong", task="inspection", **wrong)
