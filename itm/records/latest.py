"""Keeps which record of a proportioner is the latest, and compares that with the records."""

from collections.abc import Iterator

from django.db.models import OuterRef, QuerySet, Subquery

from calc.acceptance import IN_BAND, LEAN, RICH
from itm.records.models import LatestRecord, ProportioningTest
from itm.records.results import in_force
from itm.registry.models import Proportioner

Rank = LatestRecord.NotProven
BY_LIMITS = {LEAN: Rank.LEAN, RICH: Rank.RICH}


def newest_first(tests: QuerySet[ProportioningTest]) -> QuerySet[ProportioningTest]:
    """As left comes after as found of the same day, as "as_left" comes after "as_found"."""
    return tests.order_by("-tested_on", "-phase", "-pk")


def rank_of(test: ProportioningTest) -> int | None:
    """What the record leaves to do; nothing where it proves its device."""
    if test.limits != IN_BAND:
        return BY_LIMITS[test.limits]
    return Rank.UNDECIDED if test.certainty == "undecided" else None


def note(proportioner: Proportioner) -> None:
    """Bring the latest record in line with the records; the caller owns the transaction. May run
    twice."""
    tests = in_force(ProportioningTest.objects.filter(proportioner=proportioner))
    if (test := newest_first(tests).first()) is not None:
        write(test)


def write(test: ProportioningTest) -> None:
    row = LatestRecord.objects.filter(proportioner=test.proportioner_id).first()
    row = row or LatestRecord(proportioner_id=test.proportioner_id)
    row.test, row.tested_on, row.rank = test, test.tested_on, rank_of(test)
    row.save()


def differing() -> Iterator[ProportioningTest]:
    """Latest records in force that are not kept as such, or not as what they are."""
    own = in_force(ProportioningTest.objects.filter(proportioner=OuterRef("pk")))
    latest = Proportioner.objects.values(newest=Subquery(newest_first(own).values("pk")[:1]))
    tests = ProportioningTest.objects.filter(pk__in=latest)
    kept = {row.proportioner_id: row for row in LatestRecord.objects.all()}
    for test in tests.select_related("proportioner").order_by("pk").iterator():
        row = kept.get(test.proportioner_id)
        if row is None or (row.test_id, row.rank) != (test.pk, rank_of(test)):
            yield test
