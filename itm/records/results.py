"""Which sealed records count: those that no sealed amendment corrects."""

from django.db.models import QuerySet

from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.registry.models import Proportioner
from itm.schedule.due import Result


def in_force(tests: QuerySet[ProportioningTest]) -> QuerySet[ProportioningTest]:
    """Sealed and not corrected, in the order of the work: as found before as left."""
    sealed = ProportioningTest.State.SEALED
    rows = tests.filter(state=sealed).exclude(amendments__state=sealed)
    return rows.order_by("tested_on", "phase", "pk")


def results_in_force(proportioner: Proportioner) -> list[Result]:
    """What the whole history of a proportioner says to the schedule."""
    tests = ProportioningTest.objects.filter(proportioner=proportioner)
    return [result_of(test) for test in in_force(tests)]


def result_of(test: ProportioningTest) -> Result:
    return Result(
        tested_on=test.tested_on,
        limits=test.limits,
        certainty=test.certainty,
        purpose=test.purpose,
        phase=test.phase,
        key=test.key,
    )


def checks_in_force(checks: QuerySet[ConcentrateCheck]) -> QuerySet[ConcentrateCheck]:
    """Sealed and not corrected, in the order of the work."""
    sealed = ConcentrateCheck.State.SEALED
    rows = checks.filter(state=sealed).exclude(amendments__state=sealed)
    return rows.order_by("checked_on", "pk")
