"""The tables for people: the same site as the data, in words, without a key to follow.

They are for reading and come in nowhere; what an archive is read from is its data.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db.models import QuerySet

from itm.archives.tables import Sight
from itm.findings import models as findings
from itm.records import models as records
from itm.registry import models as registry
from itm.registry.models import Attachment
from itm.reports.models import Report
from itm.schedule.models import Duty

Cell = str | int | float | None
INTERVAL = "Interval from, %", "Interval to, %"


@dataclass(frozen=True)
class Sheet:
    """One table. `columns`: the head of each, and the way from the row to what stands below it."""

    name: str
    found: Callable[[Sight], QuerySet[Any]]
    columns: Sequence[tuple[str, str]]

    @property
    def head(self) -> list[str]:
        return [head for head, _ in self.columns]

    def rows(self, sight: Sight) -> Iterator[list[Cell]]:
        found = self.found(sight).order_by("pk")
        paths = [path for _, path in self.columns]
        choices = [_choices(found.model, path) for path in paths]
        for values in found.values_list(*paths).iterator(chunk_size=500):
            yield [_cell(value, words) for value, words in zip(values, choices, strict=True)]


@dataclass(frozen=True)
class Results:
    """Each flow point of each sealed test, read from the sealed bytes."""

    name: str = "test-results"

    @property
    def head(self) -> list[str]:
        return [
            "Seal", "Tested on", "System", "Proportioner", "Phase", "Purpose", "Flow point",
            "Percent", *INTERVAL, "Limits", "Certainty", "Engine", "Signed by", "Corrects seal",
            "SHA-256 of the sealed record", "Report",
        ]  # fmt: skip

    def rows(self, sight: Sight) -> Iterator[list[Cell]]:
        seals = sight.at(records.Seal).exclude(test=None).order_by("number")
        made = set(sight.of_records(Report).exclude(test=None).values_list("test", flat=True))
        asked = ("number", "digest", "signer", "test", "test__amends__seal__number", "document")
        for number, digest, signer, test, corrects, data in seals.values_list(*asked).iterator(
            chunk_size=20
        ):
            form = json.loads(bytes(data))
            told = form["test"]
            report = f"reports/seal-{number:05d}.pdf" if test in made else ""
            for point in form["evaluation"]["result"].get("flow_points", []):
                low, high = point.get("interval") or (None, None)
                yield [
                    number, told["tested_on"], form["system"]["name"],
                    form["proportioner"]["tag"], told["phase"], told["purpose"], point["name"],
                    point.get("percent"), low, high, point.get("limits"),
                    point.get("certainty"), form["evaluation"]["engine_version"], signer,
                    corrects, digest, report,
                ]  # fmt: skip


def _choices(model: Any, path: str) -> dict[Any, str]:
    field: Any = None
    for step in path.split("__"):
        try:
            field = model._meta.get_field(step)
        except FieldDoesNotExist:
            return {}
        model = field.related_model or model
    return {value: str(label) for value, label in getattr(field, "flatchoices", None) or []}


def _cell(value: Any, words: dict[Any, str]) -> Cell:
    if value in ("", None) or isinstance(value, (dict, list)):
        return None
    if words:
        return words.get(value, str(value))
    match value:
        case bool():
            return "yes" if value else "no"
        case datetime():
            return f"{value.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
        case date():
            return value.isoformat()
        case Decimal():
            return float(value)
        case int() | float() | str():
            return value
        case _:
            return str(value)


def _values(s: Sight) -> QuerySet[Any]:
    return records.SampleValue.objects.filter(sample__in=s.samples.values("pk"))


def _readings(s: Sight) -> QuerySet[Any]:
    return records.Reading.objects.filter(bottle__in=s.bottles.values("pk"))


def _inspected(s: Sight) -> QuerySet[Any]:
    return records.InspectionLine.objects.filter(inspection__site=s.site.pk)


def at(model: Any) -> Callable[[Sight], QuerySet[Any]]:
    return lambda sight: sight.at(model)


THING = [("System", "system__name"), ("Proportioner", "proportioner__tag"),
         ("Tank", "tank__tag"), ("Equipment", "equipment__tag")]  # fmt: skip
SHEETS: tuple[Sheet | Results, ...] = (
    Sheet("systems", at(registry.FoamSystem), [
        ("System", "name"), ("Kind", "kind"), ("Hazard", "hazard"), ("Fuel", "fuel"),
        ("Smallest flow", "minimum_flow_typed"), ("Design flow", "design_flow_typed"),
        ("Minutes required", "required_minutes"), ("Criterion", "criterion"),
        ("Commissioned on", "commissioned_on"), ("Retired on", "retired_on")]),
    Sheet("proportioners", at(registry.Proportioner), [
        ("System", "system__name"), ("Proportioner", "tag"), ("Kind", "kind"),
        ("Nominal percent", "nominal_percent"), ("Tank", "tank__tag"),
        ("Lowest listed flow", "lowest_listed_flow_typed"),
        ("Highest listed flow", "highest_listed_flow_typed"), ("Retired on", "retired_on")]),
    Sheet("tanks", at(registry.Tank), [
        ("Tank", "tag"), ("Kind", "kind"), ("Capacity", "capacity_typed"),
        ("Usable volume", "usable_volume_typed"), ("Installed on", "installed_on"),
        ("Retired on", "retired_on")]),
    Sheet("equipment", at(registry.Equipment), [
        ("Tag", "tag"), ("Name", "name"), ("Kind", "kind"), ("Variety", "variety"),
        ("System", "system__name"), ("Tank", "tank__tag"), ("Place", "place"),
        ("Normal position", "normal_position"), ("Maker", "maker"), ("Model", "model"),
        ("Serial number", "serial_number"), ("Retired on", "retired_on")]),
    Sheet("tank-book", at(registry.TankMovement), [
        ("Tank", "tank__tag"), ("On", "moved_on"), ("What", "kind"), ("Volume", "volume_typed"),
        ("Lot", "lot__batch"), ("Product", "lot__product"), ("Left in it, m³", "left"),
        ("Reason", "reason"), ("Withdrawn because", "withdrawn_because")]),
    Sheet("store-book", at(registry.StoreMovement), [
        ("Product", "store__lot__product"), ("Lot", "store__lot__batch"),
        ("Standing", "store__standing"), ("On", "moved_on"), ("What", "kind"),
        ("Volume", "volume_typed"), ("Left there, m³", "left"), ("Reason", "reason"),
        ("Paper", "paper"), ("Withdrawn because", "withdrawn_because")]),
    Results(),
    Sheet("readings", _readings, [
        ("Visit on", "bottle__bench__visit__planned_on"), ("Tank", "bottle__bench__tank__tag"),
        ("Instrument", "bottle__bench__instrument__name"), ("Bottle", "bottle__label"),
        ("What it is", "bottle__role"), ("Order", "sequence"), ("As typed", "value_typed"),
        ("Temperature, °C", "temperature_c"), ("Read at", "read_at"), ("Read by", "read_by"),
        ("Set aside because", "set_aside_reason")]),
    Sheet("concentrate-values", _values, [
        ("Sampled on", "sample__concentrate_check__checked_on"),
        ("Tank", "sample__concentrate_check__tank__tag"), ("Bottle", "sample__label"),
        ("Point", "sample__point"), ("Property", "name"), ("As typed", "value_typed"),
        ("Temperature, °C", "temperature_c"), ("From", "origin"), ("Method", "method"),
        ("Set aside because", "set_aside_reason")]),
    Sheet("seals", at(records.Seal), [
        ("Seal", "number"), ("Sealed at", "sealed_at"), ("Signed by", "signer"),
        ("Signed for", "signed_for"), ("Tested on", "test__tested_on"),
        ("Checked on", "concentrate_check__checked_on"), ("SHA-256", "digest"),
        ("SHA-256 of the seal before", "previous")]),
    Sheet("duties", at(Duty), [
        ("Task", "requirement__words"), ("Source", "requirement__source"),
        ("Edition", "requirement__edition"), *THING, ("Window opens on", "window_opens_on"),
        ("Due on", "due_on"), ("Latest on", "latest_on"), ("Done on", "done_on"),
        ("Moved to", "shifted_to"), ("Moved because", "shifted_why"),
        ("No longer asked since", "withdrawn_on")]),
    Sheet("inspections", _inspected, [
        ("Done on", "inspection__done_on"), ("By", "inspection__person"), ("Task", "words"),
        ("Place", "place"), ("Source", "source"), ("Outcome", "outcome"),
        ("Something else not in order", "other_fault"), ("Note", "note")]),
    Sheet("effluent", at(records.EffluentLine), [
        ("On", "happened_on"), ("What", "kind"), ("Volume", "volume_typed"),
        ("Concentrate in it, %", "percent"), ("PFAS", "pfas"), ("Place", "place"),
        ("Taken away by", "hauler"), ("Paper", "paper"), ("Note", "note"),
        ("Withdrawn because", "withdrawn_because")]),
    Sheet("past-results", at(records.PastResult), [
        ("Tested on", "tested_on"), ("Proportioner", "proportioner__tag"),
        ("Flow point", "flow_point"), ("Percent as typed", "percent_typed"),
        ("Outcome as the paper has it", "outcome"), ("Done by", "done_by"), ("Paper", "paper"),
        ("Withdrawn because", "withdrawal__reason")]),
    Sheet("past-check-lines", at(records.PastCheckLine), [
        ("Sampled on", "sampled_on"), ("Tank", "tank__tag"), ("Point", "point"),
        ("Property", "name"), ("As typed", "value_typed"), ("Temperature, °C", "temperature_c"),
        ("Lower limit as typed", "lower_typed"), ("Upper limit as typed", "upper_typed"),
        ("Outcome as the paper has it", "outcome"), ("Laboratory", "laboratory"),
        ("Paper", "paper"), ("Reported on", "reported_on"), ("Lot", "lot"), ("Note", "note"),
        ("Withdrawn because", "withdrawal__reason")]),
    Sheet("past-inspections", at(records.PastInspection), [
        ("Done on", "done_on"), ("Task as the list has it", "task"), *THING,
        ("Outcome as typed", "outcome_typed"), ("What was found", "words"), ("Done by", "done_by"),
        ("Paper", "paper"), ("Brought in by", "bundle__noted_by"),
        ("Brought in at", "bundle__noted_at"), ("Withdrawn because", "withdrawal__reason")]),
    Sheet("deficiencies", at(findings.Deficiency), [
        ("What is wrong", "words"), ("Class", "severity"), *THING, ("Found on", "found_on"),
        ("Opened by", "opened_by"), ("Responsible", "responsible"), ("To be met by", "target_on"),
        ("Outcome", "outcome"), ("Closed at", "closed_at"), ("Closed by", "closed_by"),
        ("Reason", "closed_reason")]),
    Sheet("impairments", at(findings.Impairment), [
        ("Out since", "started_at"), ("Because", "reason"), ("Of the visit", "visit__planned_on"),
        ("Coordinator", "coordinator"), ("Back at", "ended_at"), ("Ended by", "ended_by"),
        ("How it ended", "ended_words"), ("Taken back at", "taken_back_at")]),
    Sheet("authority-visits", at(findings.AuthorityVisit), [
        ("Day", "visited_on"), ("Of", "organisation__name"), ("Who was there", "present"),
        ("What was looked at", "looked_at"), ("Noted at", "noted_at"), ("By", "noted_by"),
        ("Withdrawn because", "withdrawn_because")]),
    Sheet("questions", at(findings.Question), [
        ("Asked at", "asked_at"), ("By", "asked_by"), ("Of", "organisation__name"),
        ("Question", "words"), ("Closed at", "closed_at")]),
    Sheet("orders", at(findings.Order), [
        ("Made at", "made_at"), ("By", "made_by_name"), ("Of", "organisation__name"),
        ("Order", "words"), ("Due on", "due_on"), ("Seen by", "seen_by"), ("Met at", "met_at"),
        ("How it was met", "met_words"), ("Withdrawn because", "withdrawn_because")]),
    Sheet("files", at(Attachment), [
        ("Key", "key"), ("Name", "name"), ("Caption", "caption"), *THING,
        ("Added by", "added_by"), ("Added at", "added_at"), ("Bytes", "size"),
        ("SHA-256", "sha256"), ("Withdrawn because", "withdrawn_why"), ("Let go", "let_go")]),
)  # fmt: skip
