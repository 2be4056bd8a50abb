"""A record as it stands now, in the canonical form: from the seal, the hand-in, or the draft."""

from typing import Any

import calc
from itm.records.chain import parsed
from itm.records.document import document
from itm.records.evaluate import preview_of
from itm.records.loading import whole
from itm.records.models import Evaluation, ProportioningTest

State = ProportioningTest.State


def record_form(test: ProportioningTest) -> tuple[dict[str, Any], str]:
    """The form and, for a draft without a result, the sentence that says what is missing.

    A sealed record is read from its bytes, never from the rows. `evaluation` is None where there is
    no result. For code that read the test through its scope.
    """
    if test.state == State.SEALED:
        return parsed(test.seal), ""
    loaded = whole(test.pk)
    if test.state == State.HANDED_IN and (last := test.evaluations.last()):
        return document(loaded, last), ""
    now = preview_of(loaded)
    empty: dict[str, Any] = {"flow_points": [], "samples": [], "warnings": []}
    form = document(
        loaded,
        Evaluation(
            engine_version=calc.__version__,
            inputs_digest=now.result["inputs_digest"] if now.result else "",
            inputs=now.inputs,
            result=now.result or empty,
        ),
    )
    if now.result is None:
        form["evaluation"] = None
    return form, now.problem
