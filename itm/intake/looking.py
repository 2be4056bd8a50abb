"""A look through one file: what it holds, what has to be asked, and what is wrong with it.

Nothing is written but what was found. What is taken in afterwards is read once more, by the same
code and under the same answers.
"""

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.figures import day
from itm.intake import uploads
from itm.intake.judging import Rows, rows_of
from itm.intake.layouts import layout_of
from itm.intake.models import Upload
from itm.intake.record_layouts import LINE, POURED
from itm.intake.registry_rows import RegistryRows
from itm.intake.tables.blocks import Block
from itm.intake.tables.cell_values import Amount
from itm.intake.tables.cells import Cell, letters, text_of
from itm.intake.tables.dialect import Dialect, Settled, settle
from itm.intake.tables.head import WITHIN, Head, find_head, folded, head_at, match
from itm.intake.tables.head_questions import settle_heads
from itm.intake.tables.hidden_questions import LEAVE_OUT, hidden_asked
from itm.intake.tables.layout import Layout
from itm.intake.tables.moments import Moment
from itm.intake.tables.notes import AS_ROWS, notes_asked
from itm.intake.tables.questions import Question, given
from itm.intake.tables.reading import MOST_PROBLEMS, Batch, Reader
from itm.intake.tables.source import Source, find_source
from itm.intake.tables.survey import Survey, look_through
from itm.intake.tables.swallowed import Swallowed
from itm.intake.tables.units import apart

State = Upload.State
PREVIEW_ROWS, HEAD_ROWS = 8, 12
SAID = "said:"  # answers that hold for every row
MOST_MEANS = 30  # names that are asked about one by one
Findings = dict[str, Any]
# Columns of readings that have a row each.
LONG = (
    "bottle", "value", "temperature", "read_at", "set_aside", "set_aside_at",
    *(column.name for column in POURED),
)  # fmt: skip


@dataclass
class Opened:
    """A file whose questions are answered, ready to be read through."""

    source: Source
    reader: Reader
    rows: Any

    def judged(self) -> Iterator[tuple[Batch, Any]]:
        """Batch by batch with what its kind makes of it; the last look is at the whole."""
        for batch in self.reader.batches(self.source.blocks()):
            yield batch, self.rows.judged(batch, self.reader.told)
        self.rows.finish(self.reader.told)


def look(*, actor: Actor, row: Upload, progress: Callable[[int], None] = lambda rows: None) -> None:
    """Sets what was found and whether it can be taken in. May run again after every answer."""
    layout = layout_of(row)
    row.rows = row.read_rows = 0
    try:
        found = _look(actor, row, layout, progress)
    except Refused as refusal:
        found = {"stop": refusal.sentence, "stop_code": refusal.code}
    row.findings = found
    row.rows = found.get("rows", 0)
    row.content_sha256 = found.get("content", "")
    ready = found.get("content") and not found.get("count") and not found.get("twin")
    row.state = State.READY if ready and row.rows else State.OPEN
    row.save(by=actor, verb="looked through")


def _look(
    actor: Actor, row: Upload, layout: Layout, progress: Callable[[int], None]
) -> Findings:  # fmt: skip
    source, asked = find_source(_path(row), row.form, row.answers)
    found: Findings = {"questions": [asdict(one) for one in asked], "count": 0, "problems": []}
    if source is None:
        return found
    found["source"] = {**asdict(source), "path": ""}
    first = source.first_rows()
    searched = _searched(layout, first)
    head = head_at(first, row.head_row - 1) if row.head_row else find_head(first, searched)
    columns = row.columns
    if columns is None:
        columns = match(head, layout, uploads.remembered(row))
        if layout.across & columns.keys() and 0 not in columns.values():
            columns[LINE] = 0  # in front of the bottles stands what a row is called
    columns = {name: at for name, at in columns.items() if at < max(len(head.names), 1)}
    if row.columns is None:  # else a person said which is which
        heads = settle_heads(head, layout, columns, row.answers, uploads.remembered(row))
        head, columns = heads.head, heads.columns
        found["questions"] += [asdict(one) for one in heads.questions]
    found |= {
        "head": [head.first, head.last],
        "names": list(head.names),
        "units": list(head.units),
        "columns": columns,
        "first_rows": [[text_of(cell) for cell in cells] for cells in first[:HEAD_ROWS]],
        "missing": layout.lacks(columns),
    }
    if found["missing"] or any(not one["found"] for one in found["questions"]):
        return found
    hidden = source.hidden(head)
    hiding = hidden_asked(hidden, row.answers)
    found["questions"] += [asdict(one) for one in hiding]
    if any(not one.found for one in hiding):
        return found
    if any(one.found == LEAVE_OUT for one in hiding):
        source = replace(source, without_hidden=True)
        found["source"]["without_hidden"] = True
    rows = rows_of(actor, row, columns)
    swallowed = Swallowed(source.delimiter, head)
    blocks = _counted(swallowed.watched(source.blocks()), progress)
    survey = look_through(blocks, head, columns, layout, known=rows.known)
    asked = [*swallowed.asked(row.answers), *notes_asked(survey, row.answers)]
    if any(one.found == AS_ROWS for one in asked):
        survey = survey.with_notes()
    found["questions"] += [asdict(one) for one in asked]
    found["unread"] = _unread(survey, head)
    left_out = {number for number, _ in survey.notes} | set(hidden if source.without_hidden else ())
    faults = source.faults(columns.values(), head, left_out)
    found |= _told(faults[:MOST_PROBLEMS], len(faults))
    if faults:
        return found | {"notes": survey.notes}
    if any(not one.found for one in asked):
        return found | {"notes": survey.notes}
    settled = settle(survey, head, columns, layout, row.answers)
    return found | _settled(row, layout, source, head, columns, rows, survey, settled, found)


def _searched(layout: Layout, first: Sequence[Sequence[Cell]]) -> Layout:
    """Bottles are looked for among the heads only where a row names several of them: down a column
    each of them names its own row."""
    labels = {folded(one.label) for one in layout.columns if one.name in layout.across}
    for cells in first[:WITHIN]:
        names = {folded(apart(text)[0]) for cell in cells if (text := text_of(cell))}
        if len(names & labels) > 1:
            return layout
    if not labels:
        return layout
    others = tuple(one for one in layout.columns if one.name in LONG)
    return replace(layout, columns=others)


def _unread(survey: Survey, head: Head) -> list[str]:
    """Columns with something in them that are none of ours, each as a person finds it."""
    names = dict(enumerate(head.names))
    return [
        f"{letters(at)} “{name[:60]}”"
        if (name := names.get(at))
        else f"{letters(at)} without a head"
        for at in sorted(survey.others)
    ]


def _counted(blocks: Iterator[Block], progress: Callable[[int], None]) -> Iterator[Block]:
    for block in blocks:
        yield block
        progress(block.first + block.count - 1)


def _settled(
    row: Upload, layout: Layout, source: Source, head: Head, columns: Mapping[str, int],
    rows: Rows, survey: Survey, settled: Settled, before: Findings,
) -> Findings:  # fmt: skip
    once = list(_once(layout, columns, row.answers))
    found: Findings = {
        "questions": [
            *before["questions"],
            *(asdict(one) for one in (*settled.questions, *once)),
        ],
        "rows": survey.rows,
        "last": survey.last,
        "notes": survey.notes,
        "dialect": asdict(settled.dialect),
    }
    if not survey.rows:
        raise Refused("no_rows", "Below its heads this table has no row.")
    if settled.problems:
        return found | _told(settled.problems, len(settled.problems))
    if settled.open or any(one.choices and not one.found for one in once):
        return found
    opened = _opened(row, layout, source, head, columns, rows, settled.dialect, survey.last)
    content, preview = _Content(layout), list[list[Any]]()
    watch = getattr(opened.rows, "watch", None)  # what is odd is asked in the look alone
    with _tried(opened.rows):
        for batch, made in opened.judged():
            content.add(batch)
            if watch is not None:
                watch(made)
            for index in range(min(len(batch.rows), PREVIEW_ROWS - len(preview))):
                preview.append([batch.rows[index], *_shown(batch, index, list(columns))])
    told = opened.reader.told
    means = _means(opened.reader, row.answers)
    found["questions"] += [asdict(one) for one in means]
    found |= _told(told.problems, told.count)
    found["preview"] = {"heads": [layout.column(n).label for n in columns], "rows": preview}
    found["sites"] = sorted(getattr(opened.rows, "sites", ()))
    found["content"] = content.digest()
    found["asked"] = getattr(opened.rows, "asked", [])
    found["twin"] = _twin(row, found["content"])
    return found


@contextmanager
def _tried(rows: Any) -> Iterator[None]:
    """What the register would refuse is found by trying, and everything tried is undone."""
    if not isinstance(rows, RegistryRows):
        yield
        return
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def _told(problems: Any, count: int) -> Findings:
    told = [
        {"place": one.place, "code": one.code, "sentence": one.sentence, "fix": one.fix}
        for one in problems
    ]
    return {"problems": told, "count": count}


def _opened(
    row: Upload, layout: Layout, source: Source, head: Head, columns: Mapping[str, int],
    rows: Rows, dialect: Dialect, last: int,
) -> Opened:  # fmt: skip
    known = {name: one for name, one in rows.known.items() if name in columns}
    said = {
        code.removeprefix(SAID): text for code, text in row.answers.items() if code.startswith(SAID)
    }
    said = {name: text for name, text in said.items() if name not in columns}
    reader = Reader(
        layout, head, columns, dialect, last=last, known=known, said=said,
        width=source.width(head, columns),
    )  # fmt: skip
    return Opened(source, reader, rows)


def _path(row: Upload) -> Path:
    """Refused file_lost."""
    path = Path(row.file.path)
    if not path.exists():
        raise Refused(
            "file_lost",
            f"The file “{row.name}” is no longer in the store, so nothing can be read from it. "
            "Choose it once more under Imports, and tell whoever runs this server.",
        )
    return path


def open_ready(*, actor: Actor, row: Upload) -> Opened:
    """The file once more, as the look that found nothing wrong read it. Refused not_ready."""
    found = row.findings
    if "content" not in found:
        raise Refused("not_ready", "Not everything about this file is settled yet.")
    source = Source(**{**found["source"], "path": _path(row)})
    first, last = found["head"]
    head = Head(first, last, tuple(found["names"]), tuple(found["units"]))
    dialect = Dialect(**found["dialect"])
    layout = layout_of(row)
    rows = rows_of(actor, row, found["columns"])
    return _opened(row, layout, source, head, found["columns"], rows, dialect, found["last"])


def _once(
    layout: Layout, columns: Mapping[str, int], answers: Mapping[str, str]
) -> Iterator[Question]:
    """What may hold for the whole file, of columns that it lacks. A choice has to be made; what is
    said in own words may stay open."""
    for column in layout.columns:
        if column.once and column.name not in columns:
            code = f"{SAID}{column.name}"
            if column.has_to_be_said:
                choices = tuple((word, word) for word in dict.fromkeys(column.choices.values()))
                yield Question(code, column.once, choices, given(answers, code, choices))
                continue
            yield Question(
                code, column.once, (), answers.get(code, ""), entry=column.kind,
                longest=column.longest,
            )  # fmt: skip


def _means(reader: Reader, answers: Mapping[str, str]) -> list[Question]:
    """One question for each name that is not known, where some that are come near."""
    out: list[Question] = []
    for (name, text), (problem, offers) in reader.unknown.items():
        if offers and len(out) < MOST_MEANS:
            code = f"means:{name}:{text}"
            sentence = f"{problem.place}: {problem.sentence} Which one is meant?"
            choices = tuple((offer, offer) for offer in offers)
            out.append(Question(code, sentence, choices, answers.get(code, "")))
    return out


def _shown(batch: Batch, index: int, names: list[str]) -> list[str]:
    """As it was understood: days in words, figures with a point and every digit that was typed,
    since 1.3400 says more than 1.34."""
    pairs = ((batch.values[name][index], batch.typed[name][index]) for name in names)
    return [typed if value is None else _in_words(value) for value, typed in pairs]


def _in_words(value: Any) -> str:
    if isinstance(value, Amount):
        return f"{value.number:f} {value.unit}".strip()
    return f"{value:f}" if isinstance(value, Decimal) else _words(value)


def _words(value: Any) -> str:
    """The same for the same value, however it is written."""
    if value is None:
        return ""
    if isinstance(value, Moment):
        return value.words
    if isinstance(value, Amount):
        return f"{value.number.normalize():f} {value.unit}"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if hasattr(value, "isoformat"):
        return day(value)
    return str(value)


class _Content:
    """A digest of what the table says, the same however the file is written."""

    def __init__(self, layout: Layout) -> None:
        self._seen = {name: hashlib.sha256() for name in layout.names}
        self._used: set[str] = set()

    def add(self, batch: Batch) -> None:
        for name, values in batch.values.items():
            words = {value: _words(value) for value in set(values)}
            if any(words.values()):
                self._used.add(name)
            told = "\x1f".join(words[value] for value in values)
            self._seen[name].update(f"{told}\x1f".encode())

    def digest(self) -> str:
        told = [f"{name}:{self._seen[name].hexdigest()}" for name in sorted(self._used)]
        return hashlib.sha256("\n".join(told).encode()).hexdigest()


def _twin(row: Upload, content: str) -> Findings | None:
    """The same content that was taken in before, perhaps under another name."""
    rows = Upload.objects.filter(
        organisation=row.organisation_id, kind=row.kind, test=row.test, content_sha256=content,
        state=State.DONE,
    ).exclude(pk=row.pk)  # fmt: skip
    twin = rows.first()
    if twin is None or twin.taken_at is None:
        return None
    return {"key": str(twin.key), "name": twin.name, "on": day(twin.taken_at.date())}
