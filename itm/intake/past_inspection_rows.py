"""A table of past inspections beside the register and what is asked there: which thing each row
means, and which task of a programme it answers, where it names one."""

import difflib
from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.intake.property_rows import Line
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.known import Known, fold
from itm.intake.tables.reading import Batch, Told
from itm.intake.twins import Twins
from itm.records import past, past_storing
from itm.records.inspecting import OWN_RECORD
from itm.records.models import PastInspection
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.schedule.models import Duty, Requirement
from itm.schedule.models.duties import LINKS

MOST_SHOWN = 3  # tasks that are named where none fits
OTHER_TABLE = {
    Requirement.Task.PROPORTIONING_TEST: "results of past years",
    Requirement.Task.CONCENTRATE_CHECK: "past concentrate checks",
}


class Thing(NamedTuple):
    """`link` as a duty names it, empty for the site itself; the days it stood where known."""

    link: str
    pk: int
    site: int
    system: str = ""
    since: date | None = None
    until: date | None = None

    def stood(self, on: date) -> bool:
        return (self.since is None or self.since <= on) and (self.until is None or on <= self.until)


Hook = tuple[str, int]


class PastInspectionRows:
    """Judges batches of rows, and gives each as columns in the order of `kind.brought`. `asked` is
    what a person should know and keeps none from being taken in."""

    kind = past_storing.INSPECTIONS

    def __init__(
        self, actor: Actor, *, today: date, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        self._actor, self._today, self.columns = actor, today, columns
        self._sites = {
            fold(name): Thing("", pk, pk) for pk, name in _seen(actor, Site, "pk", "name")
        }
        self._by_tag: dict[tuple[int, str], list[Thing]] = defaultdict(list)
        self._systems: dict[tuple[int, str], list[Thing]] = defaultdict(list)
        tags, systems = set[str](), set[str]()
        for tag, thing in self._tagged():
            self._by_tag[thing.site, fold(tag)].append(thing)
            tags.add(tag)
        rows = _seen(actor, FoamSystem, "name", "pk", "site", "retired_on")
        for name, pk, site, until in rows:
            self._systems[site, fold(name)].append(Thing("system", pk, site, until=until))
            systems.add(name)
        sites = [name for _, name in _seen(actor, Site, "pk", "name")]
        self.known: dict[str, Known] = {
            "site": Known("site", sites, means=means.get("site")),
            "system": Known("foam system", systems, means=means.get("system"), needed=False),
            "thing": Known("thing", tags, means=means.get("thing"), needed=False),
        }
        self._any_before = PastInspection.objects.visible_to(actor).in_force().exists()
        self._rows_at: dict[int, dict[Hook, dict[str, tuple[int, str]]]] = {}
        self._twins = Twins()
        self.sites: set[int] = set()
        self._free = 0  # rows that answer no task of a programme, and the first of them
        self._first_free = ""

    def _tagged(self) -> Any:
        see = self._actor
        for tag, pk, site, system, until in _seen(
            see, Proportioner, "tag", "pk", "system__site", "system__name", "retired_on"
        ):
            yield tag, Thing("proportioner", pk, site, system, None, until)
        for tag, pk, site, since, until in _seen(
            see, Tank, "tag", "pk", "site", "installed_on", "retired_on"
        ):
            yield tag, Thing("tank", pk, site, "", since, until)
        for tag, pk, site, system, since, until in _seen(
            see, Equipment, "tag", "pk", "site", "system__name", "installed_on", "retired_on"
        ):
            yield tag, Thing("equipment", pk, site, system or "", since, until)

    def judged(self, batch: Batch, told: Told) -> list[list[Any]]:
        """Codes: no_thing, ambiguous_thing, other_kind, before_installed, day_ahead, too_early,
        not_asked, other_table, already_there, other_outcome. Of a batch with problems the columns
        are not to be used."""
        made: list[tuple[Any, ...]] = []
        lines: list[Line] = []
        for index in range(len(batch.rows)):
            line = Line(self.columns, batch, index, told)
            if (values := self._made(line)) is not None:
                made.append(values)
                lines.append(line)
        self._twins.add((self._key(one) for one in made), [line.row for line in lines])
        if self._any_before:
            self._tell_standing(made, lines)
        return [list(one) for one in zip(*made, strict=True)] or [[] for _ in self.kind.brought]

    def _key(self, values: tuple[Any, ...]) -> int:
        place = past.same_inspection(values[:5], values[6], None, values[11])
        return self._twins.number(place) + Twins.of_day(values[7])

    def finish(self, told: Told) -> None:
        for first, again in self._twins.found():
            sentence = f"Row {first} has this task on this thing and day already."
            told.add(CellProblem(again, self.columns.get("done_on"), "twice", sentence,
                                 "Take one of them out."))  # fmt: skip

    @property
    def asked(self) -> list[dict[str, str]]:
        if not self._free:
            return []
        also = f" So in {self._free} rows." if self._free > 1 else ""
        sentence = (
            "No task that is asked of this thing has these words, so the row stands in the history "
            "and no due date counts on from it. Where one should, name that task under “Task of "
            f"the programme”.{also}"
        )
        return [{"place": self._first_free, "sentence": sentence}]

    def _made(self, line: Line) -> tuple[Any, ...] | None:
        """In the order of `past_storing.INSPECTIONS.brought`; None where it cannot be made."""
        on, task = line.value("done_on"), line.value("task")
        thing = self._thing(line, on)
        if on is None or thing is None or not task or not self._day_fits(line, thing, on):
            return None
        self.sites.add(thing.site)
        found, row = self._requirement(line, thing, task)
        if not found:
            return None
        links = tuple(thing.pk if name == thing.link else None for name in LINKS)
        return (
            thing.site, *links, row, task, on, line.value("outcome") or "",
            line.typed("outcome")[:60], line.value("words") or "", line.value("done_by") or "",
            line.value("paper") or "", line.row,
        )  # fmt: skip

    def _thing(self, line: Line, on: date | None) -> Thing | None:
        site, tag, kind = line.value("site"), line.value("thing"), line.value("kind")
        system = line.value("system")
        if site is None or tag is None or kind is None or system is None:
            return None  # told where it was read
        here = self._sites[fold(site)]
        if tag:
            there = self._by_tag.get((here.pk, fold(tag)), [])
            there = [one for one in there if not system or fold(one.system) in ("", fold(system))]
            place, named = "thing", tag
        elif system:
            there, place, named = self._systems.get((here.pk, fold(system)), []), "system", system
        else:
            there, place, named = [here], "site", site
        if kind and there:
            of_kind = [one for one in there if (one.link or "site") == kind]
            if not of_kind:
                line.tell("kind", "other_kind", f"{named} is no {kind}.", "Correct one of them.")
                return None
            there = of_kind
        if not there:
            line.tell(place, "no_thing", f"{site} has nothing called {named}.",
                      "Correct the site or the tag.")  # fmt: skip
            return None
        return self._one_of(line, there, named, place, on)

    def _one_of(
        self, line: Line, there: list[Thing], named: str, place: str, on: date | None
    ) -> Thing | None:
        if len(there) == 1 or on is None:
            return there[0]
        fits = [one for one in there if one.stood(on)]
        if len(fits) == 1:
            return fits[0]
        kinds = {one.link for one in there}
        fix = (
            "Say under “kind” which." if len(kinds) > 1
            else "Add a column “system”, or note in the register when each was there."
        )  # fmt: skip
        line.tell(place, "ambiguous_thing", f"Several things here are called {named}.", fix)
        return None

    def _day_fits(self, line: Line, thing: Thing, on: date) -> bool:
        if on > self._today:
            line.tell("done_on", "day_ahead", f"{day(on)} has not come yet.", "Correct the day.")
        elif on < past.EARLIEST:
            line.tell("done_on", "too_early", f"No inspection of {on.year} is believed: "
                      f"{day(past.EARLIEST)} is the earliest day.", "Correct the day.")  # fmt: skip
        elif thing.since is not None and on < thing.since:
            line.tell("done_on", "before_installed", f"It was installed on {day(thing.since)}; it "
                      "cannot have been inspected before.",
                      "Correct the day, or the day in the register.")  # fmt: skip
        else:
            return True
        return False

    def _requirement(self, line: Line, thing: Thing, task: str) -> tuple[bool, int | None]:
        """Whether the row may stand, and which row of a programme it answers."""
        asked = self._asked_at(thing.site).get((thing.link, thing.pk), {})
        said = line.value("counts_for") or ""
        found = asked.get(fold(said or task))
        if found is None and said:
            words = near(said, asked)
            fix = f"Asked of it: {'; '.join(words)}." if words else "Nothing is asked of it."
            line.tell("counts_for", "not_asked", f"“{said[:60]}” is no task that is asked of this "
                      "thing.", fix)  # fmt: skip
            return False, None
        if found is None:
            self._free += 1
            self._first_free = self._first_free or line.place("task")
            return True, None
        pk, kind = found
        if kind in OWN_RECORD:
            table = OTHER_TABLE[Requirement.Task(kind)]
            line.tell("counts_for" if said else "task", "other_table",
                      "A test or check is known by what it found, and no inspection.",
                      f"Bring it in with the table of {table}.")  # fmt: skip
            return False, None
        return True, pk

    def _asked_at(self, site: int) -> dict[Hook, dict[str, tuple[int, str]]]:
        """By thing and words of the task: the row of its latest edition that was ever due here."""
        if site not in self._rows_at:
            out: dict[Hook, dict[str, tuple[int, str]]] = defaultdict(dict)
            rows = Duty.objects.visible_to(self._actor).filter(site=site, withdrawn_on=None)
            columns = ("requirement", "requirement__words", "requirement__task", *LINKS)
            for pk, words, task, *links in (
                rows.order_by("requirement").values_list(*columns).distinct()
            ):
                hook = next(((n, one) for n, one in zip(LINKS, links, strict=True) if one), None)
                out[hook or ("", site)][fold(words)] = (pk, task)
            self._rows_at[site] = out
        return self._rows_at[site]

    def _tell_standing(self, made: list[tuple[Any, ...]], lines: list[Line]) -> None:
        there = past.standing_inspections({one[0] for one in made}, {one[7] for one in made})
        for values, line in zip(made, lines, strict=True):
            key = past.same_inspection(values[:5], values[6], values[7], values[11])
            if key not in there:
                continue
            if there[key] == (values[8], values[10]):
                line.tell("done_on", "already_there", "This very inspection stands here already.",
                          "Take the row out.")  # fmt: skip
            else:
                line.tell("done_on", "other_outcome", "This task stands here already for that "
                          "thing and day, with something else found.",
                          "Withdraw that one first if this is right, or take this row out."
                          )  # fmt: skip


def near(said: str, asked: Mapping[str, Any]) -> list[str]:
    """The tasks that come nearest, or the first of them."""
    found = difflib.get_close_matches(fold(said), asked, n=MOST_SHOWN, cutoff=0.4)
    return found or list(asked)[:MOST_SHOWN]


def _seen(actor: Actor, model: Any, *columns: str) -> Any:
    return model.objects.visible_to(actor).order_by("pk").values_list(*columns)
