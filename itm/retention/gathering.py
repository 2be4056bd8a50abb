"""What a site keeps: its records by kind, and each stored file with all that it belongs to.

For code that holds the sites by right. The number of queries grows neither with sites nor rows.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from django.db.models import F, Q

from itm.core.clock import date_at
from itm.core.figures import day
from itm.findings.models import Deficiency, Impairment, Question, Step
from itm.records.models import (
    ConcentrateCheck,
    Inspection,
    LaboratoryReport,
    Photo,
    ProportioningTest,
)
from itm.registry.models import Attachment, Site
from itm.retention.inspected import next_rounds, pictured
from itm.retention.models import DecidedFile, Decision, Kind, PaperKind
from itm.retention.periods import Thing

DECIDED = "it is decided already that it goes"
# Letting go that was decided before the site came here in an archive, and is not done here: that
# archive may be the very copy that somebody wanted to keep.
FROM_ELSEWHERE = Q(
    decision__verb=Decision.Verb.LET_GO,
    decision__site__brought_in__brought_at__gt=F("decision__decided_at"),
)
RECORDS = ("test", "concentrate_check", "inspection")


@dataclass
class Stored:
    """One file of the store, with the things that it is kept for and what holds it back."""

    row: Any  # Attachment or LaboratoryReport
    kind: str
    of: str
    things: list[Thing] = field(default_factory=list)
    held: str = ""
    goes: bool = False  # somebody has decided so, and it waits
    until: date | None = None  # kept on to this day
    # Other rows that name the same bytes: the paper of a check, in the check that corrects it.
    also: tuple[Any, ...] = ()

    @property
    def rows(self) -> tuple[Any, ...]:
        return self.row, *self.also

    def holds(self, today: date) -> str:
        """Why nobody may decide about it today; empty where one may."""
        if self.held or self.goes:
            return self.held or DECIDED
        kept_on = self.until is not None and self.until >= today
        return f"kept on until {day(self.until)}" if kept_on else ""

    @property
    def withdrawn(self) -> bool:
        return bool(getattr(self.row, "withdrawn_at", None))


@dataclass
class Kept:
    """At one site. `loose`: files that belong to no record, with what they are said to be; a paper
    of which nobody has said it stands there alone."""

    site: Site
    records: list[Thing] = field(default_factory=list)
    files: list[Stored] = field(default_factory=list)
    loose: list[tuple[Attachment, str]] = field(default_factory=list)

    @property
    def unsaid(self) -> list[Attachment]:
        return [row for row, kind in self.loose if not kind]


@dataclass(frozen=True)
class Record:
    """A record that files belong to: its thing, its words, and what holds it back."""

    thing: Thing
    words: str
    held: str = ""


def gather(sites: Iterable[Site]) -> dict[int, Kept]:
    """By primary key of the site."""
    return _Gathering({site.pk: site for site in sites}).kept()


class _Gathering:
    def __init__(self, sites: dict[int, Site]) -> None:
        self.sites, self.at = sites, list(sites)

    def kept(self) -> dict[int, Kept]:
        out = {pk: Kept(site) for pk, site in self.sites.items()}
        for records in (self.tests, self.checks, self.rounds, self.findings):
            for site, record in records.values():
                if record is not None:
                    out[site].records.append(record.thing)
        for row in self.attachments:
            kept = out[row.site_id or 0]
            if named := self.belongs.get(row.pk):
                kept.files.append(_of_records(row, named))
                continue
            kind = self.said.get(row.pk) or (Kind.PHOTO if row.is_picture else "")
            kept.loose.append((row, kind))
            if kind:
                kept.files.append(self._loose(row, kind))
        for family in self.papers.values():
            of = [paper.concentrate_check_id for paper in family]
            given = [self.checks[check] for check in of if check in self.checks]
            if any(record is not None for _, record in given):
                stored = _of_records(family[-1], [record for _, record in given])
                stored.also = tuple(family[:-1])
                out[given[0][0]].files.append(stored)
        for kept in out.values():
            for one in kept.files:
                said = [self.decided.get((type(row), row.pk), (False, None)) for row in one.rows]
                one.goes = any(goes for goes, _ in said)
                one.until = max(filter(None, (until for _, until in said)), default=None)
        return out

    # Records: by primary key their site, and None for one that is not signed -------------------

    @cached_property
    def tests(self) -> dict[int, tuple[int, Record | None]]:
        rows = ProportioningTest.objects.filter(site__in=self.at).exclude(state="abandoned")
        found = list(rows.select_related("proportioner__system").order_by("tested_on", "pk"))
        following = _following(
            (one.proportioner_id, one.tested_on, one.pk, one.purpose in ("periodic", "acceptance"))
            for one in found
            if one.state == "sealed"
        )
        out: dict[int, tuple[int, Record | None]] = {}
        for one in found:
            if one.state != "sealed":
                out[one.pk] = one.site_id, None
                continue
            kind = Kind.ACCEPTANCE if one.purpose == "acceptance" else Kind.TEST
            ended = one.proportioner.system.retired_on
            thing = Thing(kind, one.tested_on, following[one.pk], ended)
            words = f"test of {one.proportioner} on {day(one.tested_on)}"
            out[one.pk] = one.site_id, Record(thing, words, self.held.get(("test", one.pk), ""))
        return out

    @cached_property
    def by_visit(self) -> dict[int, list[Record | None]]:
        rows = ProportioningTest.objects.filter(pk__in=self.tests)
        out: dict[int, list[Record | None]] = {}
        for pk, visit in rows.values_list("pk", "visit"):
            out.setdefault(visit, []).append(self.tests[pk][1])
        return out

    @cached_property
    def checks(self) -> dict[int, tuple[int, Record | None]]:
        rows = ConcentrateCheck.objects.filter(site__in=self.at).exclude(state="abandoned")
        found = list(rows.select_related("tank").order_by("checked_on", "pk"))
        following = _following(
            (one.tank_id, one.checked_on, one.pk, True) for one in found if one.state == "sealed"
        )
        out: dict[int, tuple[int, Record | None]] = {}
        for one in found:
            if one.state != "sealed":
                out[one.pk] = one.site_id, None
                continue
            thing = Thing(Kind.CHECK, one.checked_on, following[one.pk], one.tank.retired_on)
            words = f"check of {one.tank} on {day(one.checked_on)}"
            held = self.held.get(("concentrate_check", one.pk), "")
            out[one.pk] = one.site_id, Record(thing, words, held)
        return out

    @cached_property
    def rounds(self) -> dict[int, tuple[int, Record | None]]:
        following = next_rounds(self.at)
        rows = Inspection.objects.filter(site__in=self.at).values_list("pk", "site", "done_on")
        out: dict[int, tuple[int, Record | None]] = {}
        for pk, site, done_on in rows:
            ended = self.sites[site].retired_on
            thing = Thing(Kind.INSPECTION, done_on, following.get(pk), ended)
            held = self.held.get(("inspection", pk), "")
            out[pk] = site, Record(thing, f"inspection on {day(done_on)}", held)
        return out

    @cached_property
    def findings(self) -> dict[tuple[str, int], tuple[int, Record | None]]:
        """Deficiencies and impairments, by the name of their column in a step."""
        out: dict[tuple[str, int], tuple[int, Record | None]] = {}
        wrong = Deficiency.objects.filter(site__in=self.at)
        gone = Impairment.objects.filter(site__in=self.at, taken_back_at=None)
        for name, rows, end in (
            ("deficiency", wrong, "closed_at"), ("impairment", gone, "ended_at"),
        ):  # fmt: skip
            for pk, site, ended_at in rows.values_list("pk", "site", end):
                if ended_at is None:
                    out[name, pk] = site, None
                    continue
                over = date_at(self.sites[site].time_zone, ended_at)
                thing = Thing(Kind.FINDING, over, None, self.sites[site].retired_on)
                out[name, pk] = site, Record(thing, f"{name}, over on {day(over)}")
        return out

    # What holds a record's files back ------------------------------------------------------------

    @cached_property
    def held(self) -> dict[tuple[str, int], str]:
        """While something about a record is open, nothing of it is let go."""
        out: dict[tuple[str, int], str] = {}
        asked = Question.objects.filter(site__in=self.at, closed_at=None)
        for test, check in asked.values_list("test", "concentrate_check"):
            name, pk = ("test", test) if test else ("concentrate_check", check)
            out[name, pk] = "a question on its record is open"
        names = ("test", "concentrate_check", "inspection_line__inspection")
        wrong = Deficiency.objects.filter(site__in=self.at, closed_at=None)
        steps = Step.objects.filter(deficiency__in=wrong.values("pk"))
        for rows in (wrong, steps):
            for found in rows.values_list(*names):
                for name, pk in zip(RECORDS, found, strict=True):
                    if pk is not None:
                        out[name, pk] = "a deficiency that its record names is open"
        return out

    # Files ---------------------------------------------------------------------------------------

    @cached_property
    def attachments(self) -> list[Attachment]:
        rows = Attachment.objects.filter(site__in=self.at, held_back=False, let_go="")
        things = ("site", "system", "proportioner__system", "tank", "equipment")
        return list(rows.select_related(*things).order_by("added_at", "pk"))

    @cached_property
    def papers(self) -> dict[str, list[LaboratoryReport]]:
        """By the name of their bytes: a check that corrects another names the same ones, a draft of
        it that was given up as well, and a file is gone for all who name it, or for none."""
        gone = DecidedFile.objects.exclude(laboratory_report=None).exclude(gone_at=None)
        rows = LaboratoryReport.objects.filter(concentrate_check__site__in=self.at)
        out: dict[str, list[LaboratoryReport]] = {}
        for row in rows.exclude(pk__in=gone.values("laboratory_report")).order_by("pk"):
            out.setdefault(str(row.file.name), []).append(row)
        return out

    @cached_property
    def said(self) -> dict[int, str]:
        rows = PaperKind.objects.filter(attachment__site__in=self.at).order_by("pk")
        return dict(rows.values_list("attachment", "kind"))

    @cached_property
    def belongs(self) -> dict[int, list[Record | None]]:
        """By primary key of an attachment the records that name it."""
        out: dict[int, list[Record | None]] = {}
        photos = Photo.objects.filter(visit__site__in=self.at)
        for pk, visit in photos.values_list("attachment", "visit"):
            out.setdefault(pk, []).extend(self.by_visit.get(visit, []))
        bottles = Photo.objects.filter(sample__concentrate_check__site__in=self.at)
        for pk, check in bottles.values_list("attachment", "sample__concentrate_check"):
            if check in self.checks:
                out.setdefault(pk, []).append(self.checks[check][1])
        by_key = {str(row.key): row.pk for row in self.attachments}
        for inspection, key in pictured(self.at):
            if key in by_key:
                out.setdefault(by_key[key], []).append(self.rounds[inspection][1])
        steps = Step.objects.exclude(photo=None).filter(photo__site__in=self.at)
        for pk, wrong, gone in steps.values_list("photo", "deficiency", "impairment"):
            named = ("deficiency", wrong) if wrong else ("impairment", gone)
            if named in self.findings:
                out.setdefault(pk, []).append(self.findings[named][1])
        return out

    def _loose(self, row: Attachment, kind: str) -> Stored:
        site = self.sites[row.site_id or 0]
        ended = getattr(row.target, "retired_on", None) or site.retired_on
        thing = Thing(kind, date_at(site.time_zone, row.added_at), None, ended)
        return Stored(row, kind, str(row.target)[:300], [thing])

    @cached_property
    def decided(self) -> dict[tuple[type, int], tuple[bool, date | None]]:
        """Files about which somebody has decided something that still counts."""
        out: dict[tuple[type, int], tuple[bool, date | None]] = {}
        rows = DecidedFile.objects.filter(
            decision__site__in=self.at, decision__taken_back_at=None, gone_at=None, stayed_why=""
        )
        rows = rows.exclude(FROM_ELSEWHERE)
        for one in rows.select_related("decision").order_by("pk"):
            pk = one.attachment_id or one.laboratory_report_id or 0
            key = (Attachment if one.attachment_id else LaboratoryReport, pk)
            out[key] = one.decision.verb == one.decision.Verb.LET_GO, one.decision.until
        return out


def _of_records(row: Any, named: list[Record | None]) -> Stored:
    signed = [one for one in named if one is not None]
    held = next((one.held for one in signed if one.held), "")
    if len(signed) < len(named):
        held = "a record that names it is still open"
    kind = signed[0].thing.kind if signed else Kind.PHOTO
    words = "; ".join(dict.fromkeys(one.words for one in signed)) or str(row.target)
    return Stored(row, kind, words[:300], [one.thing for one in signed], held)


def _following(rows: Iterable[tuple[int, date, int, bool]]) -> dict[int, date | None]:
    """Of each record, from the earliest on, the day of the next that counts as one of its kind."""
    out: dict[int, date | None] = {}
    waiting: dict[int, list[tuple[int, date]]] = {}
    for thing, on, pk, counts in rows:
        before = waiting.setdefault(thing, [])
        if counts:
            for other, earlier in before:
                if earlier < on:
                    out[other] = on
            waiting[thing] = before = [(o, e) for o, e in before if e >= on]
        out[pk] = None
        before.append((pk, on))
    return out
