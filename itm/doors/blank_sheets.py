"""Paper for a test day: the field sheet with boxes for everything, and labels for the bottles.

Made from the same object that a device works with (`day.day_of`), so paper and screen hold the same
lines in the same order. Boxes stay empty, also where something was entered already: what stands on
a sheet was written by hand on the spot. What is printed in them would be copied, not read.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote
from uuid import UUID

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.doors.asked import HINTS, UNITS
from itm.doors.day import day_of
from itm.doors.day_direct import METERS
from itm.doors.sample_labels import SYSTEM_WATER, printed
from itm.doors.sheet_effluent import MORE, effluent_rows
from itm.records.models import Bench
from itm.reports.choices import SIZES
from itm.reports.content_kept import qr
from itm.reports.render import sheet_pdf

READINGS = 2  # boxes a bottle; a repeat is a reading beside the first; own choice
NOTICES = 8
OUTLETS = 4  # read by pitot, lines a flow point
ACROSS = 3  # labels
LABEL = "60 × 33 mm"
SHARED = ("water", "system_water", "standard", "concentrate", "water_again")


@dataclass(frozen=True)
class Label:
    text: str
    what: str
    where: str
    qr: str


def field_sheet(actor: Actor, key: UUID, *, size: str) -> bytes:
    """Raises NotFound; Refused unknown_size, nothing_prepared, pango_missing."""
    day = _prepared(actor, key, size)
    labels = printed(day)
    context = {
        "day": day,
        "tests": [
            *(_with_labels(test, labels) for test in day["tests"]),
            *(_asking(day, t) for t in day["direct_tests"]),
        ],
        "benches": [_bench(bench, day, labels) for bench in day["benches"]],
        "outlets": range(OUTLETS),
        "restoration": [line for line in day["restoration"] if line["follows"] is None],
        "notices": [*day["usual"]["told"], *[""] * (NOTICES - len(day["usual"]["told"]))],
        "readings": range(READINGS),
        "effluent": [*effluent_rows(day), *[None] * MORE],
        "qr": qr(settings.PUBLIC_URL + reverse("type_in", args=[key])),
    }
    return sheet_pdf(
        render_to_string("paper/field_sheet.html", context), size=SIZES[size],
        foot=f"Field sheet of {day['visit']['site']['name']}, {day['visit']['planned_on']}: "
        "filled in by hand, not a report",
    )  # fmt: skip


def label_sheet(actor: Actor, key: UUID, *, size: str) -> bytes:
    """Raises NotFound; Refused unknown_size, nothing_prepared, no_bottles, pango_missing."""
    day = _prepared(actor, key, size)
    rows = list(_rows(labels_of(day)))
    if not rows:
        raise Refused(
            "no_bottles",
            "There is nothing to label: a test by a direct method fills no bottle. Print the field "
            "sheet instead.",
        )
    text = render_to_string("paper/labels.html", {"day": day, "rows": rows, "size": LABEL})
    foot = f"Labels of {LABEL}: print at 100 %, cut along the lines"
    return sheet_pdf(text, size=SIZES[size], foot=foot)


def labels_of(day: dict[str, Any]) -> list[Label]:
    """Of each bench once, then the samples of each test in the order of its flow points."""
    out: list[Label] = []
    for bench in day["benches"]:
        tests = [test for test in day["tests"] if test["bench"] == bench["key"]]
        for bottle in _shared(bench):
            out.append(_label(day, tests, bottle["label"], _what(bottle, bench)))
    labels = printed(day)
    for test in day["tests"]:
        for run in test["runs"]:
            out += [
                _label(day, [test], text, f"sample, {run['flow_typed']}")
                for text in labels[run["key"]]
            ]
    return out


def _shared(bench: dict[str, Any]) -> list[dict[str, Any]]:
    """Bottles of all tests of a bench, also the one of the system's water, which is put on it only
    where it is wanted: paper is printed before anybody knows."""
    standing = [
        one for one in bench["bottles"] if one["role"] in SHARED and not one["withdrawn_reason"]
    ]
    if any(one["role"] == "system_water" for one in standing):
        return standing
    return [*standing, {"role": "system_water", "label": SYSTEM_WATER}]


def _recipe(bottle: dict[str, Any], bench: dict[str, Any]) -> str:
    """As the bench makes its standards; grams need the density, which may not be known yet."""
    weighed = bench["standards_by"] == Bench.StandardsBy.MASS
    made, unit = (bottle["grams"], "g") if weighed else (bottle["recipe"], "mL")
    return f"{made['concentrate']} {unit} + {made['water']} {unit}" if made else ""


def _what(bottle: dict[str, Any], bench: dict[str, Any]) -> str:
    if bottle["role"] == "standard":
        recipe = _recipe(bottle, bench)
        made = f": {recipe} water" if recipe else ""
        return f"standard, {bottle['target_percent']} %{made}"
    return {
        "water": "test water", "water_again": "test water, read again",
        "concentrate": "undiluted concentrate", "system_water": "where the standards have another",
    }[bottle["role"]]  # fmt: skip


def _label(day: dict[str, Any], tests: list[dict[str, Any]], text: str, what: str) -> Label:
    # Under the address of field capture, which a device opens without signal; one that has not
    # taken the day along is led on to the page of the bottle (`field/label.js`).
    address = f"{settings.PUBLIC_URL}{reverse('field')}#/b/{tests[0]['key']}/{quote(text, safe='')}"
    said = "; ".join(f"{test['tag']}, {test['phase_label']}" for test in tests)
    where = f"{said}, {day['visit']['planned_on']}, {day['visit']['site']['name']}"
    return Label(text, what, where, qr(address))


def _rows(labels: list[Label]) -> Iterator[list[Label | None]]:
    """Rows of the grid, the last one filled up."""
    for start in range(0, len(labels), ACROSS):
        row = labels[start : start + ACROSS]
        yield [*row, *[None] * (ACROSS - len(row))]


def _prepared(actor: Actor, key: UUID, size: str) -> dict[str, Any]:
    if size not in SIZES:
        raise Refused("unknown_size", f"Choose one of {', '.join(SIZES.values())}.", "size")
    day = day_of(actor, key)
    kinds = ("tests", "direct_tests")
    drafts = {kind: [test for test in day[kind] if test["state"] == "draft"] for kind in kinds}
    if not any(drafts.values()):
        raise Refused(
            "nothing_prepared",
            "There is nothing to print for this visit: prepare a test first, so that its flow "
            "points, steps and lines are known.",
        )
    benches = {test["bench"] for test in drafts["tests"]}
    return {**day, **drafts, "benches": [b for b in day["benches"] if b["key"] in benches]}


def _with_labels(test: dict[str, Any], labels: dict[str, list[str]]) -> dict[str, Any]:
    runs = [{**run, "labels": labels[run["key"]]} for run in test["runs"]]
    return {**test, "runs": runs}


def _asking(day: dict[str, Any], test: dict[str, Any]) -> dict[str, Any]:
    """A direct test fills no bottle; in place of that stand boxes for what its method asks."""
    asked = day["direct_asked"][test["method"]]
    rows = _boxes(asked["note_measured"])
    return {
        **test,
        "notes_on_method": asked["notes"],
        "setup_rows": _boxes(asked["note_setup"]),
        "runs": [
            {**run, "rows": rows, "foam_words": test["measured"][run["key"]]["foam_words"]}
            for run in test["runs"]
        ],
    }


def _boxes(asked: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Rows of a table: a choice has one of its own, anything else stands two abreast."""
    rows: list[list[dict[str, Any]]] = []
    for one in map(_box, asked):
        last = rows[-1] if rows else [one, one]
        if one["ticks"] or len(last) == 2 or last[0]["ticks"]:
            rows.append([one])
        else:
            last.append(one)
    return rows


def _box(one: dict[str, Any]) -> dict[str, Any]:
    """A meter is written in words: no paper holds a list of every instrument of the crew."""
    name, kind = one["name"], one["kind"]
    if name in METERS:
        return {"label": one["label"], "hint": ", name and serial number", "ticks": []}
    hint = ", with unit" if kind in UNITS else HINTS.get(kind, "")
    ticks = [words for value, words in one["choices"] if value]
    return {"label": one["label"], "hint": hint, "ticks": ticks}


def _bench(
    bench: dict[str, Any], day: dict[str, Any], labels: dict[str, list[str]]
) -> dict[str, Any]:
    """Bottles in the order in which they are read, those of the samples among them."""
    standing = _shared(bench)
    by_role = {role: [one for one in standing if one["role"] == role] for role in SHARED}
    tests = [test for test in day["tests"] if test["bench"] == bench["key"]]
    samples = [
        {"label": text} for test in tests for run in test["runs"] for text in labels[run["key"]]
    ]
    return {
        **bench,
        "asked_rows": _boxes(bench["asked"]),
        "standards": [{**one, "as_recipe": _recipe(one, bench)} for one in by_role["standard"]],
        "read": [
            *by_role["water"], *by_role["system_water"], *by_role["standard"], *samples,
            *by_role["concentrate"], *by_role["water_again"],
        ],
    }  # fmt: skip
