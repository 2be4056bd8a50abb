"""A table of values beside the bottles that it names; each is judged as the page judges it.

One table may hold bottles of several checks: a laboratory answers for many tanks at once.
"""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from datetime import date, datetime

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Conflict, Refused
from itm.core.figures import day
from itm.intake.bottle_names import Bottles
from itm.intake.noted_times import instant_of, judge_aside
from itm.intake.property_rows import Found, Line
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.known import Known
from itm.intake.tables.reading import Batch, Told
from itm.records import sampling
from itm.records.checking import require_free, require_in_use, require_measured_on
from itm.records.many_values import NewValue
from itm.records.models import ConcentrateCheck, ConcentrateSample, LaboratoryReport, SampleValue
from itm.registry.properties import PROPERTIES

MOST = 2_000  # values of one table; own choice, far beyond what a laboratory answers at once
OWN, LABORATORY = SampleValue.Origin.OWN, SampleValue.Origin.LABORATORY


@dataclass
class Paper:
    """A laboratory's report that the table names, of one check."""

    check: ConcentrateCheck
    laboratory: str
    number: str
    reported_on: date
    there: LaboratoryReport | None  # where it is attached already
    samples: dict[int, ConcentrateSample] = field(default_factory=dict)  # that lack it


class ValueRows:
    """Judges batches of rows. `papers` and `arrived` hold at the end what else the table says, and
    `asked` what a person should know and keeps none from being taken in."""

    def __init__(
        self, actor: Actor, *, means: Mapping[str, Mapping[str, str]], columns: Mapping[str, int]
    ) -> None:
        self.actor, self.columns = actor, columns
        bottles = Bottles(actor, means=means.get("bottle"))
        self._samples = bottles.samples
        self.known: dict[str, Known] = {"bottle": bottles}
        open_ones = [sample.pk for sample in self._samples.values()]
        held = SampleValue.objects.filter(sample__in=open_ones, set_aside_at=None)
        self.held = {(value.sample_id, value.name): value for value in held}
        self.seen: dict[tuple[int, str], str] = {}
        self._count = 0
        self.papers: dict[tuple[int, str, str], Paper] = {}
        self.arrived: dict[int, tuple[ConcentrateSample, date]] = {}
        self.sites: set[int] = set()
        self.asked: list[dict[str, str]] = []
        self.without_paper: list[str] = []
        self.without_value: list[str] = []

    def judged(self, batch: Batch, told: Told) -> list[NewValue]:
        """Codes: too_many_values, withdrawn, no_property, two_units, no_unit, twice,
        there_already, temperature_missing, other_report, other_day, those of `judge_value` and of
        `noted_times`, and what `sampling` refuses of a report and of the way of a bottle."""
        out: list[NewValue] = []
        for index in range(len(batch.rows)):
            label = batch.values["bottle"][index]
            if label is None:
                continue  # told where it was read
            line = _Line(self, Line(self.columns, batch, index, told), self._samples[label])
            out += line.values()
        self._count += len(out)
        if max(self._count, len(self.seen)) > MOST:
            sentence = f"This table has more than {MOST:,} values."
            told.add(CellProblem(batch.rows[0], None, "too_many_values", sentence, "Divide it."))
        return out

    def finish(self, told: Told) -> None:
        self._ask(
            self.without_paper,
            "Values of a laboratory without its report: attach that on the page of each check "
            "before it is handed in, or answer above which report this is.",
        )
        self._ask(self.without_value, "No value stands here, so none is taken in.")

    def _ask(self, places: list[str], sentence: str) -> None:
        if places:
            also = f" So in {len(places)} rows." if len(places) > 1 else ""
            self.asked.append({"place": places[0], "sentence": sentence + also})


class _Line:
    """One row of the table, with the bottle that it is about."""

    def __init__(self, rows: ValueRows, line: Line, sample: ConcentrateSample) -> None:
        self._all, self._line, self._sample = rows, line, sample
        self._tell, self._value, self._typed = line.tell, line.value, line.typed
        self._check = sample.concentrate_check
        self._entered_at: datetime | None = None
        self._aside: tuple[str, datetime | None] = ("", None)

    def values(self) -> list[NewValue]:
        try:
            require_in_use(self._sample)
        except Refused as refusal:
            self._tell("bottle", refusal.code, refusal.sentence, "Bring the bottle back first.")
            return []
        self._all.sites.add(self._check.site_id)
        self._arrival()
        found = list(self._line.found())
        if self._line.lacks_value:
            self._all.without_value.append(self._line.place("value"))
        if not found:
            return []
        self._noted()
        if not self._measured_on_fits():
            return []
        self._paper(self._origin())
        return [value for one in found if (value := self._judged(one)) is not None]

    def _noted(self) -> None:
        """When the values of this row were noted, and why they do not count where they do not."""
        entered, aside = (
            instant_of(
                name, self._value(name), on=self._check.checked_on, tell=self._tell,
                zone=self._check.site.time_zone, now=self._all.actor.at,
            )
            for name in ("entered_at", "set_aside_at")
        )  # fmt: skip
        reason = self._value("set_aside") or ""
        judge_aside("value", reason, aside, entered, self._tell)
        self._entered_at, self._aside = entered, (reason, aside if reason else None)

    def _judged(self, one: Found) -> NewValue | None:
        judged, temperature = self._line.judged(one), self._line.temperature
        if judged is None or judged.value is None or not self._stands_free(one, temperature):
            return None
        return NewValue(
            self._sample,
            one.name,
            judged.value,
            judged.typed,
            judged.temperature_c,
            temperature,
            self._origin(),
            self._value("method") or "",
            self._value("measured_on"),
            self._entered_at,
            *self._aside,
        )

    def _stands_free(self, one: Found, temperature: str) -> bool:
        """Of those that count once in the table and none before it at the bottle, and with the
        temperature it needs."""
        known = PROPERTIES[one.name]
        if not self._aside[0] and not self._is_only(one):
            return False
        if known.mixes and not temperature:
            self._tell(
                one.column, "temperature_missing",
                f"The {known.words} has no temperature, without which it says nothing.",
                "Add a column “temperature”, or say once for all above.",
            )  # fmt: skip
            return False
        return True

    def _is_only(self, one: Found) -> bool:
        known, mine = PROPERTIES[one.name], (self._sample.pk, one.name)
        there = self._line.place(one.column)
        if mine in self._all.seen:
            self._tell(
                one.column, "twice", f"The {known.words} of {self._sample} stands in "
                f"{self._all.seen[mine]} already.",
                "Take one of them out, or say of one why it is set aside.",
            )  # fmt: skip
            return False
        self._all.seen[mine] = there
        try:
            require_free(self._all.held.get(mine))
        except Conflict as conflict:
            self._tell(one.column, "there_already", conflict.sentence, "Or take this one out.")
            return False
        return True

    def _origin(self) -> str:
        if said := self._value("origin"):
            return str(said)
        sent = self._sample.sent_on is not None or self._sample.report_id is not None
        named = self._value("laboratory") or self._value("report_number")
        return LABORATORY if named or sent else OWN

    def _measured_on_fits(self) -> bool:
        zone, noted = self._check.site.time_zone, self._entered_at
        noted_on = date_at(zone, noted) if noted else self._all.actor.date_at(zone)
        try:
            require_measured_on(self._sample, self._value("measured_on"), noted_on)
        except Refused as refusal:
            self._tell("measured_on", refusal.code, refusal.sentence)
            return False
        return True

    def _paper(self, origin: str) -> None:
        """The report of this row: attached already, to be attached, or missing."""
        if origin == OWN:
            return
        number, on = self._value("report_number"), self._value("reported_on")
        if not number and on is None:
            if self._sample.report_id is None:
                self._all.without_paper.append(self._line.place("bottle"))
            return
        laboratory = self._value("laboratory") or self._sample.laboratory
        if on is None:
            if not self._typed("reported_on"):
                self._tell("reported_on", "day_missing", "The report has no day.",
                           "Fill the cell, or say once for all above.")  # fmt: skip
            return
        key = (self._check.pk, laboratory, number)
        paper = self._all.papers.get(key) or self._new_paper(laboratory, number, on)
        if paper is None:
            return
        self._all.papers[key] = paper
        if paper.reported_on != on:
            self._tell("reported_on", "other_day", f"The report {laboratory}, {number} is of "
                       f"{day(paper.reported_on)} elsewhere, and of {day(on)} here.",
                       "Correct one of them.")  # fmt: skip
        elif self._sample.report_id is None:
            self._require_no_other(paper)
        elif paper.there is None or self._sample.report_id != paper.there.pk:
            self._tell("report_number", "other_report", f"{self._sample} was answered by the "
                       f"report {self._sample.report} already.",
                       "Withdraw that one first, or correct the number.")  # fmt: skip

    def _new_paper(self, laboratory: str, number: str, on: date) -> Paper | None:
        check = self._check
        there = sampling.report_at(check, laboratory, number)
        today = self._all.actor.date_at(check.site.time_zone)
        try:
            sampling.require_report(check, laboratory, number, on, today)
        except Refused as refusal:
            column = {"number": "report_number"}.get(refusal.place, refusal.place)
            self._tell(column, refusal.code, refusal.sentence)
            return None
        return Paper(check, laboratory, number, there.reported_on if there else on, there)

    def _require_no_other(self, paper: Paper) -> None:
        """A bottle hangs on one report."""
        pk = self._sample.pk
        for other in self._all.papers.values():
            if other is not paper and pk in other.samples:
                self._tell("report_number", "other_report", f"{self._sample} stands under the "
                           f"report {other.number} elsewhere in this table.",
                           "Name one report for it.")  # fmt: skip
                return
        paper.samples[pk] = self._sample

    def _arrival(self) -> None:
        on, sample = self._value("received_on"), self._sample
        if on is None:
            return
        said = sample.received_on or self._all.arrived.get(sample.pk, (sample, None))[1]
        if said is not None:
            if said != on:
                self._tell("received_on", "other_day", f"{sample} arrived on {day(said)} by what "
                           "is noted already.", "Correct one of them.")  # fmt: skip
            return
        as_noted = copy(sample)
        as_noted.received_on = on
        try:
            zone = self._check.site.time_zone
            sampling.require_way(as_noted, self._all.actor.date_at(zone))
        except Refused as refusal:
            fix = (
                "Note on its page when it was sent, and where."
                if refusal.code == "not_sent"
                else ""
            )
            self._tell("received_on", refusal.code, refusal.sentence, fix)
            return
        self._all.arrived[sample.pk] = (sample, on)
