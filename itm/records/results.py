"""Which sealed records count: those that no sealed amendment corrects."""

from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

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


def with_corrections(records: Any) -> Any:
    """Tests or checks, each with whether a sealed record corrects it, as `corrected`."""
    model = records.model
    later = model._base_manager.filter(amends=OuterRef("pk"), state=model.State.SEALED)
    return records.annotate(corrected=Exists(later))


def state_words(record: Any) -> str:
    """Of one that came by `with_corrections`: no list offers two results of one day alike."""
    since = ", corrected since" if record.corrected else ""
    return f"{record.get_state_display()}{since}"
