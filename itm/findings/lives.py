"""One line in the life of a finding, the only way in which any is written."""

from datetime import datetime
from typing import Any

from itm.core.history import Author
from itm.findings.models import Deficiency, Impairment, Step


def say(
    actor: Author, finding: Deficiency | Impairment, verb: str, at: datetime, words: str = "",
    **more: Any,
) -> Step:  # fmt: skip
    on = {"deficiency" if isinstance(finding, Deficiency) else "impairment": finding}
    made: Step = Step.objects.create(
        by=actor, verb=verb, at=at, person=actor.person, organisation=actor.organisation_name,
        words=words[:500], **on, **more,
    )  # fmt: skip
    return made
