"""Which rows are in the archive of a site: the one list, read by both ways.

Rows that hang on the site are asked for as its owner sees them. Rows that stand at no site, such as
a lot or an instrument, are in it as far as the others name them, so each stands after all that may
name it. A test asks of every model whether it is in this list or in `LEFT_OUT`, with the reason.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import models
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation, User
from itm.findings import models as findings
from itm.records import models as records
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.registry import models as registry
from itm.registry.certificates import in_force
from itm.registry.models import Attachment, Certificate, ConcentrateLot, Instrument, Site
from itm.reports.models import Report
from itm.retention import models as retention
from itm.schedule import models as schedule
from itm.schedule.models import Programme, Requirement

Model = type[models.Model]
Named = Mapping[Model, set[int]]  # primary keys that the rows so far point to

NATURAL: dict[Model, tuple[str, ...]] = {
    Programme: ("code", "edition"),
    Requirement: ("programme__code", "programme__edition", "code"),
    findings.NoticeClock: ("code",),
    retention.KeepingRule: ("code",),
}
# What follows from other columns and the calendar is worked out anew where the archive comes in.
# What opens the door for a person, or is the person's own choice, leaves no installation.
LEFT_OUT_COLUMNS: dict[Model, frozenset[str]] = {
    registry.Tank: frozenset({"writing"}),
    schedule.Duty: frozenset({"stands", "stands_changes_on"}),
    User: frozenset({"email", "password", "last_login", "measures", "is_active", "joined_at"}),
}
DOOR = "a way into this installation, and no record of the site"
FOLLOWS = "worked out from other rows"
LEFT_OUT: dict[str, str] = {
    "accounts.ApiToken": DOOR,
    "accounts.Invitation": DOOR,
    "accounts.Membership": "who may sign in is decided anew where the archive comes in",
    "accounts.RecoveryCode": DOOR,
    "accounts.SecondFactor": DOOR,
    "accounts.SignedIn": DOOR,
    "accounts.Try": DOOR,
    "archives.BroughtIn": "tells of this installation",
    "archives.SiteArchive": "an archive holds no archives; who asked for them stands here",
    "core.Change": "written by `history.py`, under the names of the tables",
    "core.Fold": "of the lines of this installation; where they come in they are folded anew",
    "core.Installation": "stands in the manifest",
    "core.Job": "promised work of this server",
    "intake.HeadMemory": "how an organisation names its columns, at no site",
    "intake.ManyDays": "work of this server",
    "intake.OneOfMany": "work of this server",
    "intake.Receipt": "work of this server",
    "intake.Upload": "the table of an import is its organisation's own and may name other sites; "
    "what it brought is here, and the history names it",
    "notices.Gathering": FOLLOWS,
    "notices.News": FOLLOWS,
    "notices.ReadNews": FOLLOWS,
    "notices.Wish": "a person's own choice",
    "records.Along": "telephones of a crew that had the day on them",
    "records.LatestRecord": FOLLOWS,
    "registry.LinkUse": DOOR,
    "registry.PromisedGrant": DOOR,
    "registry.ReadLink": DOOR,
    "reports.Batch": "copies of reports for one person, who can ask again",
}


class Sight:
    """What the owner sees of the site: the querysets that the tables begin with."""

    def __init__(self, actor: Actor, site: Site) -> None:
        self.actor, self.site = actor, site

    def at(self, model: Any) -> QuerySet[Any]:
        """Rows of a model that hangs on a site, as the actor sees them."""
        path = model.site_path or "pk"
        found: QuerySet[Any] = model.objects.visible_to(self.actor).filter(**{path: self.site.pk})
        return found

    @cached_property
    def tests(self) -> QuerySet[Any]:
        return self.at(ProportioningTest).values("pk")

    @cached_property
    def checks(self) -> QuerySet[Any]:
        return self.at(ConcentrateCheck).values("pk")

    @cached_property
    def steps(self) -> QuerySet[Any]:
        own = findings.Step.objects.all()
        return own.filter(Q(deficiency__site=self.site.pk) | Q(impairment__site=self.site.pk))

    def records(self, model: Any, link: str) -> QuerySet[Any]:
        """Those that the owner sees; and the bare rows of those that went back to their author, or
        were given up, after a deficiency was opened on them: it cannot stand without its ground."""
        wrong = findings.Deficiency.objects.filter(site=self.site.pk)
        seen = Q(pk__in=self.at(model).values("pk"))
        named = Q(pk__in=wrong.exclude(**{link: None}).values(link)) | Q(
            pk__in=self.steps.exclude(**{link: None}).values(link)
        )
        found: QuerySet[Any] = model.objects.filter(seen | named)
        return found

    @cached_property
    def every_test(self) -> QuerySet[Any]:
        return self.records(ProportioningTest, "test")

    @cached_property
    def begun(self) -> QuerySet[Any]:
        """Visits that have begun: a plan is the contractor's own."""
        seen = Q(pk__in=self.at(records.Visit).values("pk"))
        return records.Visit.objects.filter(seen | Q(pk__in=self.every_test.values("visit")))

    @cached_property
    def visits(self) -> QuerySet[Any]:
        """And the bare row of a visit that something else names which the owner sees, such as the
        impairment of a start that was taken back."""
        known = Q(pk__in=self.begun.values("pk"))
        for model in (findings.Impairment, records.EffluentLine, records.Inspection):
            rows = model.objects.filter(site=self.site.pk).exclude(visit=None)
            known |= Q(pk__in=rows.values("visit"))
        return records.Visit.objects.filter(known)

    @cached_property
    def runs(self) -> QuerySet[Any]:
        return records.FlowRun.objects.filter(test__in=self.tests)

    @cached_property
    def benches(self) -> QuerySet[Any]:
        named = self.every_test.exclude(bench=None).values("bench")
        return records.Bench.objects.filter(pk__in=named)

    @cached_property
    def bottles(self) -> QuerySet[Any]:
        seen = records.ProportioningTest.objects.filter(pk__in=self.tests).exclude(bench=None)
        rows = records.Bottle.objects.filter(bench__in=seen.values("bench"))
        return rows.filter(Q(run=None) | Q(run__in=self.runs.values("pk")))

    @cached_property
    def samples(self) -> QuerySet[Any]:
        return records.ConcentrateSample.objects.filter(concentrate_check__in=self.checks)

    @cached_property
    def adoptions(self) -> QuerySet[Any]:
        """Of the site, and those of its owner and of its authorities for all of their sites."""
        over = registry.SiteAuthority.objects.filter(site=self.site.pk).values("organisation")
        whose = Q(site=self.site.pk) | Q(site=None) & (
            Q(adopter=self.site.owner_id) | Q(adopter__in=over)
        )
        seen = schedule.Adoption.objects.visible_to(self.actor).values("pk")
        return schedule.Adoption.objects.filter(whose, pk__in=seen)

    def of_records(self, model: Any) -> QuerySet[Any]:
        seen = Q(test__in=self.tests) | Q(concentrate_check__in=self.checks)
        found: QuerySet[Any] = model.objects.filter(seen)
        return found

    def attachments(self, named: Named) -> QuerySet[Attachment]:
        apart = (
            Q(lot__in=named.get(ConcentrateLot, ()))
            | Q(instrument__in=named.get(Instrument, ()))
            | Q(certificate__in=named.get(Certificate, ()))
        )
        seen = Attachment.objects.visible_to(self.actor).values("pk")
        return Attachment.objects.filter(Q(site=self.site.pk) | apart, pk__in=seen)

    def photos(self) -> QuerySet[Any]:
        of_day = Q(visit__in=self.begun.values("pk"))
        of_bottle = Q(sample__in=self.samples.values("pk"))
        rows = records.Photo.objects.filter(of_day | of_bottle)
        readings = records.Reading.objects.filter(bottle__in=self.bottles.values("pk"))
        return rows.filter(
            Q(run=None) | Q(run__in=self.runs.values("pk")),
            Q(reading=None) | Q(reading__in=readings.values("pk")),
            attachment__in=self.at(Attachment).values("pk"),
        )

    def certificates(self, named: Named) -> QuerySet[Certificate]:
        """Of each instrument that a record names, the certificates in force on its days."""
        days: dict[int, set[Any]] = {}
        by_bench = self.every_test.exclude(bench=None).values_list("bench__instrument", "tested_on")
        setups = records.DirectSetup.objects.filter(test__in=self.tests)
        ways = [by_bench] + [
            setups.exclude(**{name: None}).values_list(name, "test__tested_on")
            for name in ("concentrate_meter", "second_meter")
        ]
        for way in ways:
            for instrument, day in way:
                days.setdefault(instrument, set()).add(day)
        found = set()
        rows = Instrument.objects.filter(pk__in=named.get(Instrument, ()))
        for one in rows.prefetch_related("certificates"):
            for day in days.get(one.pk, ()):
                if (held := in_force(one.certificates.all(), day)) is not None:
                    found.add(held.pk)
        return Certificate.objects.filter(pk__in=found)


@dataclass(frozen=True, eq=False)
class Table:
    """One file of rows. `history`: its lines of the history are in the archive too, of those rows
    that `told` narrows it to; `extra`: what else a row is asked for, by which its files get their
    names."""

    name: str
    model: Model
    rows: Callable[[Sight, Named], QuerySet[Any]]
    history: bool = True
    told: Callable[[Sight], QuerySet[Any]] | None = None
    extra: Mapping[str, Any] | None = None

    @property
    def natural(self) -> tuple[str, ...]:
        return NATURAL.get(self.model, ("key",))


def at_site(name: str, model: Any) -> Table:
    return Table(name, model, lambda sight, _: sight.at(model))


def part(name: str, model: Any, rows: Callable[[Sight], QuerySet[Any]], **more: Any) -> Table:
    return Table(name, model, lambda sight, _: rows(sight), **more)


def named(name: str, model: Any, *, history: bool = False) -> Table:
    """Rows that stand at no site: those that the tables before name."""

    def rows(sight: Sight, pks: Named) -> QuerySet[Any]:
        found: QuerySet[Any] = model.objects.filter(pk__in=pks.get(model, ()))
        return found

    return Table(name, model, rows, history=history)


def requirements(sight: Sight, pks: Named) -> QuerySet[Requirement]:
    """All rows of each programme of which one is named: an edition is adopted as a whole."""
    by_row = Requirement.objects.filter(pk__in=pks.get(Requirement, ())).values("programme")
    return Requirement.objects.filter(
        Q(programme__in=by_row) | Q(programme__in=pks.get(Programme, ()))
    )


R = records
TABLES: tuple[Table, ...] = (
    at_site("sites", Site),
    at_site("authorities", registry.SiteAuthority),
    part("engagements", registry.Grant, lambda s: registry.Grant.objects.filter(site=s.site.pk)),
    at_site("tanks", registry.Tank),
    at_site("systems", registry.FoamSystem),
    at_site("proportioners", registry.Proportioner),
    at_site("flow-points", registry.FlowPoint),
    at_site("equipment", registry.Equipment),
    at_site("pfas-date-checks", registry.PfasDateCheck),
    at_site("relocations", registry.Relocation),
    at_site("tank-book", registry.TankMovement),
    at_site("changeovers", registry.ChangeOver),
    at_site("stores", registry.Store),
    at_site("store-book", registry.StoreMovement),
    part("adoptions", schedule.Adoption, lambda s: s.adoptions),
    part("consents", schedule.Consent,
         lambda s: schedule.Consent.objects.filter(adoption__in=s.adoptions.values("pk"))),
    part("confirmations", schedule.Confirmation,
         lambda s: schedule.Confirmation.objects.filter(adoption__in=s.adoptions.values("pk"))),
    part("terms", schedule.Terms,
         lambda s: schedule.Terms.objects.filter(adoption__in=s.adoptions.values("pk"))),
    at_site("duties", schedule.Duty),
    at_site("happenings", schedule.Happening),
    part("visits", R.Visit, lambda s: s.visits, told=lambda s: s.begun),
    part("notices", R.Notice, lambda s: R.Notice.objects.filter(visit__in=s.begun.values("pk"))),
    part("device-clocks", R.DeviceClock,
         lambda s: R.DeviceClock.objects.filter(visit__in=s.begun.values("pk"))),
    part("restoration-lines", R.RestorationLine,
         lambda s: R.RestorationLine.objects.filter(visit__in=s.begun.values("pk"))),
    part("benches", R.Bench, lambda s: s.benches),
    part("tests", ProportioningTest, lambda s: s.every_test,
         told=lambda s: s.at(ProportioningTest)),
    part("flow-runs", R.FlowRun, lambda s: s.runs),
    part("flush-steps", R.FlushStep, lambda s: R.FlushStep.objects.filter(test__in=s.tests)),
    part("direct-setups", R.DirectSetup,
         lambda s: R.DirectSetup.objects.filter(test__in=s.tests)),
    part("direct-runs", R.DirectRun,
         lambda s: R.DirectRun.objects.filter(run__in=s.runs.values("pk"))),
    part("bottles", R.Bottle, lambda s: s.bottles),
    part("readings", R.Reading,
         lambda s: R.Reading.objects.filter(bottle__in=s.bottles.values("pk"))),
    part("checks", ConcentrateCheck, lambda s: s.records(ConcentrateCheck, "concentrate_check"),
         told=lambda s: s.at(ConcentrateCheck)),
    part("laboratory-reports", R.LaboratoryReport,
         lambda s: R.LaboratoryReport.objects.filter(concentrate_check__in=s.checks)),
    part("samples", R.ConcentrateSample, lambda s: s.samples),
    part("sample-values", R.SampleValue,
         lambda s: R.SampleValue.objects.filter(sample__in=s.samples.values("pk"))),
    part("evaluations", R.Evaluation, lambda s: s.of_records(R.Evaluation)),
    part("moves", R.Move, lambda s: s.of_records(R.Move)),
    at_site("seals", R.Seal),
    at_site("witnesses", R.Witness),
    part("reports", Report, lambda s: s.of_records(Report),
         extra={"seal_number": Coalesce(F("test__seal__number"),
                                        F("concentrate_check__seal__number"))}),
    at_site("effluent", R.EffluentLine),
    at_site("inspections", R.Inspection),
    part("inspection-lines", R.InspectionLine,
         lambda s: R.InspectionLine.objects.filter(inspection__site=s.site.pk)),
    at_site("past-results", R.PastResult),
    at_site("past-check-lines", R.PastCheckLine),
    at_site("past-inspections", R.PastInspection),
    part("past-withdrawals", R.PastWithdrawal,
         lambda s: R.PastWithdrawal.objects.filter(
             Q(result__in=s.at(R.PastResult).values("pk"))
             | Q(check_line__in=s.at(R.PastCheckLine).values("pk"))
             | Q(inspection__in=s.at(R.PastInspection).values("pk")))),
    named("past-bundles", R.PastBundle),
    part("photos", R.Photo, lambda s: s.photos()),
    at_site("deficiencies", findings.Deficiency),
    at_site("impairments", findings.Impairment),
    part("impaired-systems", findings.ImpairedSystem,
         lambda s: findings.ImpairedSystem.objects.filter(impairment__site=s.site.pk)),
    part("finding-steps", findings.Step, lambda s: s.steps),
    at_site("authority-visits", findings.AuthorityVisit),
    at_site("authority-files", findings.AuthorityFile),
    at_site("questions", findings.Question),
    part("answers", findings.Answer,
         lambda s: findings.Answer.objects.filter(question__site=s.site.pk)),
    at_site("orders", findings.Order),
    at_site("clock-adoptions", findings.ClockAdoption),
    at_site("overdue-rules", findings.OverdueRule),
    at_site("keeping-periods", retention.KeepingPeriod),
    at_site("keeping-decisions", retention.Decision),
    part("decided-files", retention.DecidedFile,
         lambda s: retention.DecidedFile.objects.filter(decision__site=s.site.pk)),
    at_site("what-papers-are", retention.PaperKind),
    named("lots", ConcentrateLot, history=True),
    Table("lot-ranges", registry.LotRange,
          lambda _, pks: registry.LotRange.objects.filter(lot__in=pks.get(ConcentrateLot, ()))),
    named("instruments", Instrument),
    Table("certificates", Certificate, Sight.certificates, history=False),
    Table("attachments", Attachment, Sight.attachments),
    Table("requirements", Requirement, requirements, history=False),
    named("programmes", Programme),
    named("notice-clocks", findings.NoticeClock),
    named("keeping-rules", retention.KeepingRule),
    named("people", User),
    named("organisations", Organisation),
)  # fmt: skip
BY_MODEL: dict[Model, Table] = {table.model: table for table in TABLES}
BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}
