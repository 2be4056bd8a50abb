"""A record as it stands now, in the canonical form: from the seal, the hand-in, or the draft."""

from typing import Any

import calc
from itm.records.chain import parsed
from itm.records.kinds import kind_of
from itm.records.models import Evaluation, ProportioningTest, Record

State = ProportioningTest.State


def record_form(record: Record, loaded: Record | None = None) -> tuple[dict[str, Any], str]:
    """The form and, for a draft without a result, the sentence that says what is missing.

    A sealed record is read from its bytes, never from the rows. `evaluation` is None where there is
    no result. For code that read the record through its scope; `loaded` is the same record whole,
    from a page that needs it for more.
    """
    if record.state == State.SEALED:
        return parsed(record.seal), ""
    kind = kind_of(record)
    loaded = loaded or kind.whole(record.pk)
    if record.state == State.HANDED_IN and (last := record.evaluations.last()):
        return kind.document(loaded, last), ""
    now = kind.preview(loaded)
    form = kind.document(
        loaded,
        Evaluation(
            engine_version=calc.__version__,
            inputs_digest=now.result["inputs_digest"] if now.result else "",
            inputs=now.inputs,
            result=now.result or dict(kind.nothing),
        ),
    )
    if now.result is None:
        form["evaluation"] = None
    return form, now.problem
