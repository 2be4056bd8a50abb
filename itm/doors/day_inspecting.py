"""What there is to inspect at the site of a day, and what was noted of it on this very visit."""

from collections.abc import Iterable
from typing import Any

from itm.accounts.actor import Actor
from itm.records import inspecting
from itm.records import inspection_queries as queries
from itm.records.drafts import may_begin
from itm.records.inspection_forms import CLOSING, TaskForm
from itm.records.models import InspectionLine, Visit
from itm.records.wants import Want, limits
from itm.registry.models import Site
from itm.schedule import wording
from itm.schedule.models import Duty


def inspection_of(actor: Actor, visit: Visit) -> dict[str, Any]:
    return asked_of(
        actor, visit.site, may=may_begin(actor, visit), noted=queries.lines_during(visit)
    )


def asked_of(
    actor: Actor, site: Site, *, may: bool, noted: Iterable[InspectionLine]
) -> dict[str, Any]:
    """Every open cycle, also what is ahead of its window: by the day it may have opened."""
    duties = queries.to_inspect(actor, site, ahead=True)
    before = queries.not_possible_before(duties)
    form = TaskForm()
    return {
        "may": may,
        "tasks": [_task(duty, before.get(duty.pk)) for duty in duties],
        "noted": [_noted(line) for line in noted],
        "closing": [
            {
                "name": name,
                "label": str(form[name].label),
                "help": str(form[name].help_text),
                "longest": getattr(form.fields[name], "max_length", None),
            }
            for name in CLOSING
        ],
    }


def _task(duty: Duty, before: InspectionLine | None) -> dict[str, Any]:
    row = duty.requirement
    return {
        "key": str(duty.key),
        "words": row.words or str(row),
        "place": inspecting.place_of(duty),
        "when": wording.until(duty),
        "opens_on": duty.window_opens_on.isoformat(),
        "latest_on": duty.latest_on.isoformat(),
        "acceptance": row.acceptance,
        "source": f"{row.source} ({row.confidence})",
        "not_possible": _said(before) if before is not None else None,
        "wants": [_want(want) for want in row.evidence],
    }


def _said(line: InspectionLine) -> dict[str, str]:
    return {"on": line.inspection.done_on.isoformat(), "reason": line.reason}


def _want(want: Want) -> dict[str, Any]:
    return {
        "key": want["key"],
        "label": want["label"],
        "kind": want["kind"],
        "unit": want.get("unit", ""),
        "choices": list(want.get("choices", ())),
        "optional": bool(want.get("optional")),
        "limits": limits(want),
    }


def _noted(line: InspectionLine) -> dict[str, Any]:
    return {
        "key": str(line.key),
        "words": line.words,
        "place": line.place,
        "outcome": line.outcome,
        "outcome_label": line.get_outcome_display(),
        "answers": [
            *(
                f"{one['label']}: {' '.join(filter(None, (one['typed'], one['unit'])))}"
                for one in line.answers
            ),
            *(["Something else is not in order"] if line.ticked else []),
        ],
        "note": line.note,
        "reason": line.reason,
        "by": line.inspection.person,
        "inspection": str(line.inspection.key),
    }
