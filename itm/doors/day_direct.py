"""Direct tests of a day: what there is to know of them, and what was measured, as texts."""

from typing import Any

from itm.accounts.actor import Actor
from itm.doors.asked import asked
from itm.records.direct_forms import DEFINITION, MeasuredForm, SetupForm, of_method
from itm.records.merge import shown
from itm.records.models import DirectRun, FlowRun, ProportioningTest
from itm.reports.content_direct import METHOD_NOTES, baseline_words

METERS = ("concentrate_meter", "second_meter")


def setup_texts(test: ProportioningTest) -> dict[str, str]:
    """What `note_setup` takes of this method, as it stands; a meter by its key."""
    setup, (names, _) = test.direct, of_method(test.method)
    out = {name: shown(setup, name) for name in names}
    for name in METERS:
        if name in out and (meter := getattr(setup, name)) is not None:
            out[name] = str(meter.key)
    return out


def measured_texts(test: ProportioningTest, run: FlowRun) -> dict[str, str]:
    """What `note_measured` takes of this method, as it stands."""
    _, names = of_method(test.method)
    return {name: shown(run.direct, name) for name in names}


def direct_part(test: ProportioningTest) -> dict[str, Any]:
    """What a direct test of a day has and a bench test has not."""
    setup = test.direct
    return {
        "method_label": test.get_method_display(),
        "definition": DEFINITION,
        "liquid": setup.liquid,
        "liquid_name": setup.liquid_name,
        "setup": setup_texts(test),
        "measured": {
            str(run.key): measured_texts(test, run)
            | {
                "foam": run.direct.foam_name,
                "foam_percent": run.direct.foam_percent,
                "foam_flow": run.direct.foam_flow,
                "foam_words": baseline_words(run.direct.foam_name, run.direct.foam_percent),
            }
            for run in test.runs.all()
        },
    }


def asked_directly(actor: Actor, tests: list[ProportioningTest]) -> dict[str, Any]:
    """Of each method in these tests: what it asks, by the verb that takes it, and what it cannot
    see."""
    first = {test.method: test for test in reversed(tests)}
    return {
        method: {
            "note_setup": asked(SetupForm(actor=actor, row=test.direct)),
            "note_measured": asked(MeasuredForm(row=DirectRun(), method=method)),
            "notes": list(METHOD_NOTES[method]),
        }
        for method, test in first.items()
    }
