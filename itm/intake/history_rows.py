"""A table of past results beside the register: which device each row means, and what it makes."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, NamedTuple

from calc.units import FLOW
from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.intake.odd_results import OddResults
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.known import Known, fold
from itm.intake.tables.reading import A_CELL, Batch, Told
from itm.intake.twins import Twins
from itm.records import past, past_storing
from itm.registry.models import ConcentrateLot, Proportioner

Asked = tuple[str | None, str, str | None, str | None]  # site, system, tag, flow point


class Meant(NamedTuple):
    """The device and the name of its flow point, or what is wrong."""

    device: int = 0
    point: str = ""
    code: str = ""
    sentence: str = ""
    fix: str = ""


class HistoryRows:
    """Judges batches of rows, and gives each as columns in the order of `kind.brought`. What was
    put to `watch` and is odd, `asked` holds; it keeps none from being taken in."""

    kind = past_storing.RESULTS

    def __init__(
        self, actor: Actor, *, today: date, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        rows = Proportioner.objects.visible_to(actor).select_related("system__site")
        self._devices = list(rows.prefetch_related("flow_points"))
        self._today, self._columns = today, columns
        self._by_place: dict[tuple[str, str], list[Proportioner]] = defaultdict(list)
        for device in self._devices:
            place = (fold(device.system.site.name), fold(device.tag))
            self._by_place[place].append(device)
        self._meant: dict[Asked, Meant] = {}
        self._site_of = {device.pk: device.system.site_id for device in self._devices}
        self._twins = Twins()
        self.sites: set[int] = set()
        self._any_before = past.PastResult.objects.in_force().filter(
            proportioner__in=[device.pk for device in self._devices]
        ).exists()  # fmt: skip
        self.known = self._names(actor, means)
        self._odd = OddResults(self._devices, columns)
        self.watch = self._odd.watch

    @property
    def asked(self) -> list[dict[str, str]]:
        return self._odd.asked

    def _names(self, actor: Actor, means: Mapping[str, Mapping[str, str]]) -> dict[str, Known]:
        points = {point.name for one in self._devices for point in one.flow_points.all()}
        systems = {device.system.name for device in self._devices}
        lots = ConcentrateLot.objects.visible_to(actor).values_list("batch", flat=True)
        sites = {device.system.site.name for device in self._devices}
        tags = {device.tag for device in self._devices}
        return {
            "site": Known("site", sites, means=means.get("site")),
            "system": Known("foam system", systems, means=means.get("system"), needed=False),
            "proportioner": Known("proportioner", tags, means=means.get("proportioner")),
            "flow_point": Known("flow point", points, means=means.get("flow_point")),
            "lot": Known("lot", lots, means=means.get("lot"), needed=False, free=True),
        }

    def judged(self, batch: Batch, told: Told) -> list[list[Any]]:
        """Codes: ambiguous_device, no_device, no_flow_point, day_ahead, too_early, no_flow,
        limits_crossed, twice, already_there, other_figure. Of a batch with problems the columns
        are not to be used."""
        values = batch.values
        asked = list(zip(*(values[n] for n in ("site", "system", "proportioner", "flow_point")),
                         strict=True))  # fmt: skip
        for one in set(asked) - self._meant.keys():
            self._meant[one] = self._resolve(one)
        meant = [self._meant[one] for one in asked]
        self._tell_meant(batch, meant, told)
        self._tell_days(batch, told)
        self._tell_limits(batch, told)
        self._tell_flows(batch, told)
        phases = [phase or "as_found" for phase in values["phase"]]
        self._remember(batch, meant, phases, told)
        self.sites.update(self._site_of[pk] for pk in {one.device for one in meant} if pk)
        flows = {amount: _si(amount) for amount in set(values["flow"])}
        return [
            [one.device for one in meant],
            [one.point for one in meant],
            values["tested_on"],
            phases,
            [purpose or "periodic" for purpose in values["purpose"]],
            values["percent"],
            batch.typed["percent"],
            [flows[amount] for amount in values["flow"]],
            batch.typed["flow"],
            values["lower_limit"],
            values["upper_limit"],
            *(values[name] for name in ("outcome", "method", "lot", "done_by", "paper", "note")),
            batch.rows,
        ]

    def _resolve(self, asked: Asked) -> Meant:
        site, system, tag, point = asked
        if site is None or tag is None or point is None or system is None:
            return Meant()  # told where it was read
        found = self._by_place.get((fold(site), fold(tag)), [])
        if system:
            found = [one for one in found if fold(one.system.name) == fold(system)]
        if not found:
            where = f"{site}, {system}" if system else site
            return Meant(code="no_device", sentence=f"{where} has no proportioner {tag}.",
                         fix="Correct the site, system or tag.")  # fmt: skip
        if len(found) > 1:
            names = ", ".join(sorted(one.system.name for one in found))
            return Meant(code="ambiguous_device",
                         sentence=f"{site} has several proportioners {tag}: at {names}.",
                         fix="Add a column “system” that says at which.")  # fmt: skip
        points = [one.name for one in found[0].flow_points.all()]
        mine = next((name for name in points if fold(name) == fold(point)), None)
        if mine is None:
            return Meant(code="no_flow_point", sentence=f"{tag} has no flow point “{point}”.",
                         fix=f"It has {', '.join(points)}.")  # fmt: skip
        return Meant(found[0].pk, mine)

    def _tell_meant(self, batch: Batch, meant: Iterable[Meant], told: Told) -> None:
        if not any(one.code for one in self._meant.values()):
            return
        places = {"no_flow_point": "flow_point", "ambiguous_device": "system"}
        rows: dict[Meant, list[int]] = defaultdict(list)
        for row, one in zip(batch.rows, meant, strict=True):
            if one.code:
                rows[one].append(row)
        for one, held in rows.items():
            name = places.get(one.code, "proportioner")
            at = self._columns.get(name, self._columns.get("proportioner"))
            more = f" So in {len(held)} rows." if len(held) > A_CELL else ""
            told.count += max(0, len(held) - A_CELL)
            told.add(
                *(CellProblem(row, at, one.code, one.sentence + more, one.fix)
                  for row in held[:A_CELL])
            )  # fmt: skip

    def _tell_days(self, batch: Batch, told: Told) -> None:
        days = batch.values["tested_on"]
        odd = {
            one: ("day_ahead", f"{day(one)} has not come yet.")
            if one > self._today
            else ("too_early", f"No test of {one.year} is believed: {day(past.EARLIEST)} is the "
                  "earliest day.")
            for one in set(days)
            if one is not None and not past.EARLIEST <= one <= self._today
        }  # fmt: skip
        if not odd:
            return
        for row, one in zip(batch.rows, days, strict=True):
            if one in odd:
                told.add(self._problem(row, "tested_on", *odd[one], "Correct the day of the test."))

    def _tell_flows(self, batch: Batch, told: Told) -> None:
        flows = batch.values["flow"]
        none = {one for one in set(flows) if one is not None and one.number <= 0}
        if not none:
            return
        for row, one in zip(batch.rows, flows, strict=True):
            if one in none:
                sentence = f"{one.number:f} {one.unit} is no flow at which anything was tested."
                told.add(self._problem(row, "flow", "no_flow", sentence,
                                       "Correct it, or leave the cell empty."))  # fmt: skip

    def _tell_limits(self, batch: Batch, told: Told) -> None:
        lower, upper = batch.values["lower_limit"], batch.values["upper_limit"]
        pairs = list(zip(lower, upper, strict=True))
        crossed = {(a, b) for a, b in set(pairs) if a is not None and b is not None and a >= b}
        if not crossed:
            return
        for row, pair in zip(batch.rows, pairs, strict=True):
            if pair in crossed:
                sentence = f"The lower limit {pair[0]:f} is not below the upper one, {pair[1]:f}."
                told.add(self._problem(row, "lower_limit", "limits_crossed", sentence,
                                       "Look whether they are swapped."))  # fmt: skip

    def _remember(self, batch: Batch, meant: list[Meant], phases: list[str], told: Told) -> None:
        when, twins = batch.values["tested_on"], self._twins
        points = {one: (one.device, one.point.casefold()) for one in set(meant)}
        at = {one: twins.number(place) for one, place in points.items()}
        days = {one: twins.of_day(one) for one in set(when)}
        keys = (
            at[one] + days[day] + (phase == "as_left")
            for one, day, phase in zip(meant, when, phases, strict=True)
        )
        twins.add(keys, batch.rows)
        if self._any_before:
            self._tell_standing(batch, [(*points[one], day, phase) for one, day, phase in zip(
                meant, when, phases, strict=True)], told)  # fmt: skip

    def _tell_standing(self, batch: Batch, keys: list[past.Same], told: Told) -> None:
        """Which of them are in force here already, with the same figure or with another."""
        devices = {device for device, *_ in keys}
        days = {when for when in batch.values["tested_on"] if when is not None}
        there = past.standing(devices, days)
        for row, key, percent in zip(batch.rows, keys, batch.values["percent"], strict=True):
            before = there.get(key)
            if before is None:
                continue
            if before == percent:
                told.add(self._problem(row, "percent", "already_there",
                    "This very result stands here already.", "Take the row out."))  # fmt: skip
            else:
                told.add(self._problem(row, "percent", "other_figure",
                    f"{before.normalize():f} % stands here already for that day and flow point.",
                    "Withdraw that one first if this is right, or take the row out."))  # fmt: skip

    def finish(self, told: Told) -> None:
        """What only the whole table shows: one flow point of a device twice on one day."""
        for first, again in self._twins.found():
            told.add(self._problem(again, "tested_on", "twice",
                f"Row {first} has a result of this flow point on this day already.",
                "Take one of them out, or say “as left” in the column phase."))  # fmt: skip

    def _problem(self, row: int, name: str, code: str, sentence: str, fix: str) -> CellProblem:
        return CellProblem(row, self._columns.get(name), code, sentence, fix)


def _si(amount: Any) -> float | None:
    return None if amount is None else float(amount.number) * FLOW[amount.unit]
