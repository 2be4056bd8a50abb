"""A table of past concentrate checks beside the register: which tank each row means, and what its
paper reports of each property. Nothing is judged of the concentrate itself."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.core.quantities import as_typed
from itm.intake.concentrate import JudgedValue
from itm.intake.property_rows import Found, Line
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.known import Known, fold
from itm.intake.tables.reading import Batch, Told
from itm.intake.twins import Twins
from itm.intake.typed import digits_of
from itm.intake.value_layout import unit_of_property, units_in_tables
from itm.records import past, past_storing
from itm.records.models import PastCheckLine, SampleValue
from itm.registry.models import ConcentrateLot, Tank
from itm.registry.properties import PROPERTIES, STEP

LABORATORY = SampleValue.Origin.LABORATORY


class Limit(NamedTuple):
    number: Decimal | None = None
    typed: str = ""


NO_LIMIT = Limit()


class PastCheckRows:
    """Judges batches of rows, and gives each as columns in the order of `kind.brought`. `asked` is
    what a person should know and keeps none from being taken in."""

    kind = past_storing.CHECK_LINES

    def __init__(
        self, actor: Actor, *, today: date, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        tanks = list(Tank.objects.visible_to(actor).select_related("site"))
        self.today, self.columns = today, columns
        self._by_place: dict[tuple[str, str], list[Tank]] = defaultdict(list)
        for tank in tanks:
            self._by_place[fold(tank.site.name), fold(tank.tag)].append(tank)
        lots = ConcentrateLot.objects.visible_to(actor).values_list("batch", flat=True)
        self.known: dict[str, Known] = {
            "site": Known("site", {tank.site.name for tank in tanks}, means=means.get("site")),
            "tank": Known("tank", {tank.tag for tank in tanks}, means=means.get("tank")),
            "lot": Known("lot", lots, means=means.get("lot"), needed=False, free=True),
        }
        self._any_before = PastCheckLine.objects.in_force().filter(
            tank__in=[tank.pk for tank in tanks]
        ).exists()  # fmt: skip
        self._twins = Twins()
        self.sites: set[int] = set()
        self.without_temperature: list[str] = []  # the first place of them
        self._without = 0

    def judged(self, batch: Batch, told: Told) -> list[list[Any]]:
        """Codes: no_tank, ambiguous_tank, before_installed, after_retired, day_ahead, too_early,
        report_before_sample, nothing_said, limits_of_which, limits_crossed, already_there,
        other_figure, and those of `property_rows`. Of a batch with problems the columns are not to
        be used."""
        made: list[tuple[Any, ...]] = []
        lines: list[tuple[Line, str]] = []
        for index in range(len(batch.rows)):
            line = Line(self.columns, batch, index, told)
            for column, values in _Row(self, line).lines():
                made.append(values)
                lines.append((line, column))
        self._twins.add(self._keys(made), [line.row for line, _ in lines])
        if self._any_before:
            self._tell_standing(made, lines)
        return [list(one) for one in zip(*made, strict=True)] or [[] for _ in self.kind.brought]

    def _keys(self, made: list[tuple[Any, ...]]) -> Iterator[int]:
        for values in made:
            tank, point, on, name = values[:4]
            origin, laboratory = values[14:16]
            place = (tank, point, name, origin, laboratory.casefold())
            yield self._twins.number(place) + Twins.of_day(on)

    def finish(self, told: Told) -> None:
        """What only the whole table shows: one property of one sample twice."""
        for first, again in self._twins.found():
            told.add(
                CellProblem(
                    again, self.columns.get("sampled_on"), "twice",
                    f"Row {first} has the same of this tank, point and day already.",
                    "Take one of them out, or name the laboratory of each.",
                )
            )  # fmt: skip

    @property
    def asked(self) -> list[dict[str, str]]:
        if not self.without_temperature:
            return []
        also = f" So {self._without} times." if self._without > 1 else ""
        sentence = (
            "Index or density without its temperature: it stands in the tables as reported, and "
            f"in no picture, since nothing can be compared with it.{also}"
        )
        return [{"place": self.without_temperature[0], "sentence": sentence}]

    def no_temperature(self, place: str) -> None:
        self._without += 1
        if not self.without_temperature:
            self.without_temperature.append(place)

    def tank(self, line: Line, on: date | None) -> Tank | None:
        """Of several of one tag, such as the tank before it, the one that stood there that day."""
        site, tag = line.value("site"), line.value("tank")
        if site is None or tag is None:
            return None  # told where it was read
        there = self._by_place.get((fold(site), fold(tag)), [])
        if not there:
            line.tell("tank", "no_tank", f"{site} has no tank {tag}.", "Correct the site or tag.")
            return None
        if on is None:
            return None
        fits = [one for one in there if _stood(one, on)]
        if len(fits) == 1:
            return fits[0]
        if fits:
            line.tell("tank", "ambiguous_tank", f"{site} has or had several tanks {tag}, and the "
                      "day does not tell which.",
                      "Note in the register when each was installed and retired.")  # fmt: skip
            return None
        since = min((one.installed_on for one in there if one.installed_on), default=None)
        if since is not None and on < since:
            line.tell("sampled_on", "before_installed", f"{tag} was installed on {day(since)}; no "
                      "sample was taken from it before.",
                      "Correct the day, or the day in the register.")  # fmt: skip
        else:
            line.tell("sampled_on", "after_retired", f"On {day(on)} {tag} was retired already.",
                      "Correct the day, or the day in the register.")  # fmt: skip
        return None

    def _tell_standing(
        self, made: list[tuple[Any, ...]], lines: list[tuple[Line, str]]
    ) -> None:  # fmt: skip
        """Which of them are in force here already, with the same figure or with another."""
        tanks, days = {one[0] for one in made}, {one[2] for one in made}
        there = past.standing_lines(tanks, days)
        for values, (line, column) in zip(made, lines, strict=True):
            key = (*values[:4], values[14], values[15].casefold())
            if key not in there:
                continue
            if there[key] == values[4]:
                line.tell(column, "already_there", "This very line stands here already.",
                          "Take the row out.")  # fmt: skip
                continue
            before = there[key]
            shown = "An outcome without a value" if before is None else f"{before.normalize():f}"
            line.tell(column, "other_figure",
                      f"{shown} stands here already for that tank, point and day.",
                      "Withdraw that one first if this is right, or take it out.")  # fmt: skip


def _stood(tank: Tank, on: date) -> bool:
    begun = tank.installed_on is None or tank.installed_on <= on
    return begun and (tank.retired_on is None or on <= tank.retired_on)


class _Row:
    """One row of the table and the lines that it makes, each with its column."""

    def __init__(self, rows: PastCheckRows, line: Line) -> None:
        self._all, self._line = rows, line

    def lines(self) -> Iterator[tuple[str, tuple[Any, ...]]]:
        line = self._line
        on = line.value("sampled_on")
        tank = self._all.tank(line, on) if self._days_fit(on) else None
        found = list(line.found())
        outcome = line.value("outcome") or ""
        limits = self._limits(found)
        if tank is not None:
            self._all.sites.add(tank.site_id)
        for one in found:
            judged = line.judged(one)
            if judged is None:
                continue
            if PROPERTIES[one.name].mixes and judged.temperature_c is None:
                self._all.no_temperature(line.place(one.column))
            said = outcome if len(found) == 1 else ""
            yield one.column, self._made(tank, on, one.name, judged, limits, said)
        if not found and line.value("value") is None and line.value("property") is not None:
            if not outcome:
                line.tell("value" if line.lacks_value else "outcome", "nothing_said",
                          "This row reports no value and no outcome.",
                          "Fill one of them, or take the row out.")  # fmt: skip
                return
            yield "outcome", self._made(tank, on, line.value("property"), None, limits, outcome)
        elif len(found) > 1 and outcome:  # of the report as a whole
            yield "outcome", self._made(tank, on, "", None, (NO_LIMIT, NO_LIMIT), outcome)

    def _days_fit(self, on: date | None) -> bool:
        if on is None:
            return False
        tell, reported = self._line.tell, self._line.value("reported_on")
        if on > self._all.today:
            tell("sampled_on", "day_ahead", f"{day(on)} has not come yet.", "Correct the day.")
            return False
        if on < past.EARLIEST:
            tell("sampled_on", "too_early", f"No check of {on.year} is believed: "
                 f"{day(past.EARLIEST)} is the earliest day.", "Correct the day.")  # fmt: skip
            return False
        if reported is not None and reported > self._all.today:
            tell("reported_on", "day_ahead", f"{day(reported)} has not come yet.",
                 "Correct the day.")  # fmt: skip
        elif reported is not None and reported < on:
            tell("reported_on", "report_before_sample", f"The report is of {day(reported)}, and "
                 f"the sample of {day(on)}.", "Look whether they are swapped.")  # fmt: skip
        return True

    def _limits(self, found: list[Found]) -> tuple[Limit, Limit]:
        """Of the one figure of the row, or of the property that it names."""
        line = self._line
        given = [name for name in ("lower_limit", "upper_limit") if line.value(name) is not None]
        if not given:
            return NO_LIMIT, NO_LIMIT
        names = [one.name for one in found] or [line.value("property")]
        if len(names) != 1 or not names[0]:
            line.tell(given[0], "limits_of_which", "This row does not hold one property, so its "
                      "limits can be of any.", "Give each property with limits a row of its "
                      "own.")  # fmt: skip
            return NO_LIMIT, NO_LIMIT
        unit = found[0].unit if found else line.value("unit") or ""
        lower, upper = (
            self._limit(name, names[0], unit) for name in ("lower_limit", "upper_limit")
        )
        if lower.number is not None and upper.number is not None and lower.number >= upper.number:
            line.tell("lower_limit", "limits_crossed", f"The lower limit {lower.typed} is not "
                      f"below the upper one, {upper.typed}.",
                      "Look whether they are swapped.")  # fmt: skip
        return lower, upper

    def _limit(self, column: str, name: str, unit: str) -> Limit:
        value, known = self._line.value(column), PROPERTIES[name]
        if value is None:
            return NO_LIMIT
        number = digits_of(value.number, self._line.typed(column))
        unit = unit_of_property(known, value.unit or unit)
        if unit not in known.units:
            right = " or ".join(units_in_tables(known)) or "no unit"
            self._line.tell(column, "other_unit", f"“{as_typed(number, unit)}” is no limit of "
                            f"{known.words}.", f"Write it in {right}.")  # fmt: skip
            return NO_LIMIT
        in_si = (value.number * known.units[unit]).quantize(STEP)
        return Limit(in_si, as_typed(number, unit))

    def _made(
        self, tank: Tank | None, on: date | None, name: str, judged: JudgedValue | None,
        limits: tuple[Limit, Limit], outcome: str,
    ) -> tuple[Any, ...]:  # fmt: skip
        """In the order of `past_storing.CHECK_LINES.brought`."""
        value = self._line.value
        laboratory, paper = value("laboratory") or "", value("report_number") or ""
        origin = value("origin") or (LABORATORY.value if laboratory or paper else "")
        lower, upper = limits
        return (
            tank.pk if tank else 0, value("point") or "", on, name,
            judged.value if judged else None, judged.typed if judged else "",
            judged.temperature_c if judged else None,
            self._line.temperature if judged and judged.temperature_c is not None else "",
            lower.number, lower.typed, upper.number, upper.typed, outcome,
            value("method") or "", origin, laboratory, paper, value("reported_on"),
            value("lot") or "", value("done_by") or "", value("note") or "", self._line.row,
        )  # fmt: skip
