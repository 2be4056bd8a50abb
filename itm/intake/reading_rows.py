"""A table of readings beside the bench that it belongs to; each is judged as the page judges it."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import NamedTuple

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.figures import day, instant
from itm.intake.check import judge
from itm.intake.noted_times import Tell, instant_of, judge_aside
from itm.intake.poured import Poured
from itm.intake.property_rows import Line
from itm.intake.record_layouts import LINE, of_bottle, warmth_of
from itm.intake.tables.cells import CellProblem, place
from itm.intake.tables.known import Known
from itm.intake.tables.moments import Moment
from itm.intake.tables.reading import Batch, Told
from itm.intake.tables.sums import is_worked_out
from itm.intake.take import AtBottle, as_set, asked_of
from itm.intake.typed import digits_of
from itm.intake.worked_out import Held, mean_readings, mean_rows
from itm.records import bench_sheet
from itm.records.bench_sheet import Stand
from itm.records.many_readings import NewReading
from itm.records.models import ProportioningTest
from itm.records.ordering import before_caught

COMES_IN = datetime.max.replace(
    tzinfo=UTC
)  # when a reading without a time is read: after all others
MOST = 2_000  # readings of one bench; own choice, far beyond any


Aside = tuple[str, datetime | None]  # why a reading does not count, and since when


class Typed(NamedTuple):
    """One reading as it stands in the table; `names` are our columns of bottle, value, warmth."""

    stand: Stand
    value: str
    temperature: str
    names: tuple[str, str, str]


class ReadingRows:
    """Judges batches of rows; gives the readings in the order of the table, where bottles have a
    column each row by row.

    `asked` holds at the end what is odd about them and keeps none from being taken in.
    """

    def __init__(
        self, actor: Actor, test: ProportioningTest, *, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        self.sheet = bench_sheet.sheet(actor, test.key)
        self._columns, self._now = columns, actor.at
        self._zone = test.visit.site.time_zone
        begun = test.visit.started_at
        self._day = date_at(self._zone, begun) if begun else test.visit.planned_on
        self._stands = {stand.bottle.label: stand for stand in self.sheet.stands}
        # Bottles that have a column each, in the order in which they stand.
        self._across = sorted(
            (
                (label, of_bottle(stand.bottle.key), warmth_of(stand.bottle.key))
                for label, stand in self._stands.items()
                if of_bottle(stand.bottle.key) in columns and "value" not in columns
            ),
            key=lambda one: columns[one[1]],
        )
        self.known = {"bottle": Known("bottle", self._stands, means=means.get("bottle"))}
        self.asked: list[dict[str, str]] = []
        self._read: list[AtBottle] = []
        self._held: list[Held] = []
        self._other_day: list[tuple[str, datetime]] = []
        self._last: datetime | None = None
        self._before = max(
            (one.sequence for stand in self.sheet.stands for one in stand.readings), default=0
        )
        self._count = 0
        self._actor = actor
        self.poured = Poured(self.sheet.bench, columns)

    def judged(self, batch: Batch, told: Told) -> list[NewReading]:
        """Codes: too_many_readings, worked_out, closed, not_yet, no_such_time, time_twice,
        reason_missing, aside_across, aside_early, and those of `intake.check.judge` and of
        `poured`."""
        out: list[NewReading] = []
        for index, row in enumerate(batch.rows):
            self.poured.add(Line(self._columns, batch, index, told), self._stand(batch, index))
            at = self._read_at(row, batch.values["read_at"][index], told)
            aside = self._aside(batch, index, at, told)
            for one in self._of_row(batch, index, told):
                out += self._judged(row, one, at, aside, told)
        if self._count > MOST:
            sentence = f"This table has more than {MOST:,} readings for one bench."
            told.add(CellProblem(batch.rows[0], None, "too_many_readings", sentence,
                                 "Divide it by test."))  # fmt: skip
        return out

    def _of_row(self, batch: Batch, index: int, told: Told) -> Iterator[Typed]:
        """The one reading of a row, or one of each bottle that has a column: an empty cell there is
        no reading, and what has no bottle or no figure was told where it was read."""
        if not self._across:
            label = batch.values["bottle"][index]
            names = ("bottle", "value", "temperature")
            if label is not None and (found := self._typed_at(batch, index, label, names)):
                yield found
            return
        name = batch.values[LINE][index] or ""
        if is_worked_out(name):
            told.add(CellProblem(
                batch.rows[index], self._columns[LINE], "worked_out",
                f"“{name[:40]}” was worked out from readings and is none itself.",
                "Take the row out.",
            ))  # fmt: skip
            return
        for label, value, warmth in self._across:
            own = warmth if warmth in self._columns else "temperature"
            if found := self._typed_at(batch, index, label, (value, value, own)):
                yield found

    def _stand(self, batch: Batch, index: int) -> Stand | None:
        label = None if self._across else batch.values["bottle"][index]
        return self._stands.get(label) if label is not None else None

    def _typed_at(
        self, batch: Batch, index: int, label: str, names: tuple[str, str, str]
    ) -> Typed | None:
        value = self._typed(batch, names[1], index)
        if not value:
            return None
        return Typed(self._stands[label], value, self._typed(batch, names[2], index), names)

    def _judged(
        self, row: int, typed: Typed, at: datetime | None, aside: Aside, told: Told
    ) -> Iterator[NewReading]:
        self._count += 1
        bottle, value, temperature = typed.names
        judged = judge(typed.value, typed.temperature, self.sheet.bench.instrument, place=value,
                       temperature_place=temperature)  # fmt: skip
        for one in judged.problems:
            told.add(CellProblem(row, self._columns.get(one.place), one.code, one.sentence))
        stand = typed.stand
        if closed := self.sheet.closed if stand.bottle.run_id else self.sheet.shared_closed:
            told.add(CellProblem(row, self._columns[bottle], "closed", closed))
        if not judged.problems and judged.value is not None:
            there = place(row, self._columns[value])
            if not aside[0]:
                self._remember(there, typed, judged.temperature_c, at)
                self._held.append(Held(row, stand.bottle.label, judged.value))
            yield NewReading(stand.bottle, typed.value, typed.temperature, at, *aside)

    def _read_at(self, row: int, moment: Moment | None, told: Told) -> datetime | None:
        """Where nothing is written, that of the row above, as one writes on paper."""
        at = self._instant(row, "read_at", moment, told)
        if at is None:
            return self._last
        self._last = at
        if date_at(self._zone, at) != self._day:
            self._other_day.append((place(row, self._columns["read_at"]), at))
        return at

    def _instant(self, row: int, name: str, moment: Moment | None, told: Told) -> datetime | None:
        return instant_of(
            name, moment, on=self._day, zone=self._zone, now=self._now, tell=self._teller(row, told)
        )

    def _aside(self, batch: Batch, index: int, read_at: datetime | None, told: Told) -> Aside:
        """Why the reading of this row does not count, and since when; nothing where it counts."""
        row, reason = batch.rows[index], batch.values["set_aside"][index] or ""
        tell = self._teller(row, told)
        at = self._instant(row, "set_aside_at", batch.values["set_aside_at"][index], told)
        judge_aside("reading", reason, at, read_at, tell)
        if not reason:
            return "", None
        if self._across:
            tell("set_aside", "aside_across", "This row holds readings of several bottles.",
                 "Give each reading a row of its own.")  # fmt: skip
        return reason, at

    def _teller(self, row: int, told: Told) -> Tell:
        def tell(name: str, code: str, sentence: str, fix: str) -> None:
            told.add(CellProblem(row, self._columns.get(name), code, sentence, fix))

        return tell

    def _remember(
        self, there: str, typed: Typed, warmth: Decimal | None, at: datetime | None
    ) -> None:
        number = self._before + len(self._read) + 1
        self._read.append(AtBottle(typed.stand, there, typed.value, warmth, at or COMES_IN, number))

    @staticmethod
    def _typed(batch: Batch, name: str, index: int) -> str:
        value = batch.values[name][index]
        return "" if value is None else digits_of(value, batch.typed[name][index])

    def finish(self, told: Told) -> None:
        """What is odd is asked about before it is taken in, beside what the bench holds already:
        the bottles may still stand on the table."""
        if not told:
            self.poured.try_out(self._actor, told)
        held = [
            AtBottle(stand, "", one.value_typed, one.temperature_c, one.read_at, one.sequence)
            for stand in self.sheet.stands
            for one in stand.in_force
        ]
        odd = asked_of([*held, *self._read], as_set(self.sheet.bench))
        self.asked = [
            {"place": one.place, "sentence": odd[one.place]}
            for one in self._read
            if one.place in odd
        ]
        early = [one for one in self._read if before_caught([one.read_at], one.taken_at)]
        if early:
            more = f" So in {len(early)} readings." if len(early) > 1 else ""
            sentence = (
                f"{early[0].stand.bottle.label} was caught at "
                f"{instant(early[0].taken_at, self._zone)}, after this reading: is the time "
                f"right?{more}"
            )
            self.asked.append({"place": early[0].place, "sentence": sentence})
        for row in (mean_rows if self._across else mean_readings)(self._held):
            sentence = (
                "What stands here is the mean of the readings above it, in every bottle: was it "
                "worked out? Then take it out, since a mean is no reading."
            )
            self.asked.append({"place": f"row {row}", "sentence": sentence})
        if self._other_day:
            there, at = self._other_day[0]
            more = f" So in {len(self._other_day)} rows." if len(self._other_day) > 1 else ""
            sentence = (
                f"Read on {day(date_at(self._zone, at))}, and the test day is {day(self._day)}: "
                f"is the date right?{more}"
            )
            self.asked.append({"place": there, "sentence": sentence})
