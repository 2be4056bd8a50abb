"""What a direct test is measured with, and what was read at its flow points."""

from collections.abc import Mapping

from itm.doors.day_direct import METERS
from itm.doors.deeds.visits import standing
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, only_put
from itm.records import measuring
from itm.records.direct_forms import MeasuredForm, SetupForm
from itm.records.merge import shown
from itm.records.models import DirectSetup


def note_setup(call: Call) -> Done:
    setup = measuring.setup_of(call.row)
    form = filled(SetupForm, call.entry.put, actor=call.actor, row=setup)
    row = measuring.note_setup(
        actor=call.actor, test=call.row, opened=_opened(setup, call.entry.opened),
        **cleaned(only_put(form, call.entry.put)),
    )  # fmt: skip
    return Done(call.row.visit, standing(row, call.entry.put))


def _opened(setup: DirectSetup, opened: Mapping[str, str]) -> Mapping[str, str]:
    """A device was told a meter by its key; what stands is compared in words."""
    by_key = {
        name: shown(setup, name)
        for name in METERS
        if (meter := getattr(setup, name)) is not None and opened.get(name) == str(meter.key)
    }
    return {**opened, **by_key}


def note_measured(call: Call) -> Done:
    test = call.row.test
    measuring.setup_of(test)
    form = filled(MeasuredForm, call.entry.put, row=call.row.direct, method=test.method)
    row = measuring.note_measured(
        actor=call.actor, run=call.row, opened=call.entry.opened,
        **cleaned(only_put(form, call.entry.put)),
    )  # fmt: skip
    return Done(test.visit, standing(row, call.entry.put))
