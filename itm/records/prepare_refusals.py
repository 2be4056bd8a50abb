"""What Prepare refuses of proportioner, purpose and correction, with the sentence that mends it."""

from itm.core.errors import Refused
from itm.records.models import Bench, ProportioningTest, Visit
from itm.registry import criteria
from itm.registry.models import Proportioner

Method = ProportioningTest.Method


def refuse_acceptance_without_foam(method: str, purpose: str) -> None:
    if method == Method.OTHER_LIQUID and purpose == ProportioningTest.Purpose.ACCEPTANCE:
        raise Refused(
            "acceptance_needs_foam",
            "Another liquid is compared with a test with concentrate, so it can accept nothing: "
            "an acceptance test is run with concentrate.",
            "purpose",
        )


def refuse_unfit_device(visit: Visit, proportioner: Proportioner) -> None:
    if proportioner.system.site_id != visit.site_id:
        raise Refused("not_on_site", f"{proportioner} is not at {visit.site}.", "proportioner")
    if proportioner.retired_on is not None:
        raise Refused("retired", f"{proportioner} is retired.", "proportioner")
    if visit.restored_at is not None:
        raise Refused(
            "back_in_service",
            "Everything opened on this visit is back in service; plan another visit for a test "
            "that takes it out again.",
        )


def refuse_other_limits(test: ProportioningTest, purpose: str) -> None:
    """An acceptance test and a later one have other limits where the criterion compares them."""
    acceptance = ProportioningTest.Purpose.ACCEPTANCE
    now = test.purpose == acceptance
    compares = criteria.needs_baseline(
        test.proportioner.system.criterion if now else test.criterion
    )
    if compares and (purpose == acceptance) != now:
        raise Refused(
            "purpose_frozen",
            "Its limits were frozen for the purpose it was prepared for: the criterion compares "
            "later tests with the acceptance test. Abandon this draft and prepare another.",
            "purpose",
        )


def refuse_second_correction(bench: Bench | None) -> None:
    if bench is None:
        raise Refused(
            "nothing_to_correct",
            "A direct method reads no bottle, so there is no temperature to correct.",
            "correct_temperatures",
        )
    instrument = bench.instrument
    if instrument.temperature_compensated:
        raise Refused(
            "corrected_twice",
            f"{instrument} corrects for temperature itself; corrected once more, every reading "
            "would be wrong by as much again.",
            "correct_temperatures",
        )
