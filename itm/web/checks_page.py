"""What the page of a concentrate check shows, read from the same document as its report."""

from typing import Any

from itm.reports import content_check as said
from itm.reports import content_kept as kept
from itm.reports.wording import SiteClock
from itm.retention.letting import gone_papers

Form = dict[str, Any]


def page(form: Form, row: Any) -> dict[str, Any]:
    """Everything of the record itself; the steps that a person may take come from the view."""
    clock = SiteClock.of(form)
    last = form["moves"][-1] if form["moves"] else None
    context: dict[str, Any] = {
        "form": form,
        "tank": row.tank,
        "bottles": bottles(form, row, clock),
        "papers": papers(form, row),
        "values": said.values(form, clock),
        "criteria": said.criteria(form),
        "basis": said.basis(form),
        "place": said.place(form),
        "occasion": said.occasion(form, clock),
        "rule": said.rule(form),
        "moves": kept.moves(form, clock),
        "sent_back": kept.moves(form, clock)[-1] if last and last["verb"] == "send_back" else None,
        "amends": kept.amendment(form),
        "signed": kept.signed(form, clock) if "seal" in form else (),
        "warnings": said.warnings(form) if form["samples"] else (),
    }  # fmt: skip
    if form["evaluation"] is not None:
        context |= {
            "limits": said.limits_words(form),
            "strengths": said.strengths(form),
            "layers": said.layers(form),
            "engine": [
                ("Engine version", form["evaluation"]["engine_version"]),
                ("Digest of the inputs", form["evaluation"]["inputs_digest"]),
            ],
        }
    return context


def papers(form: Form, row: Any) -> list[tuple[Any, Any, str]]:
    """Each with its words where its bytes were let go, which the sealed document cannot know."""
    if not form["reports"]:
        return []
    gone = gone_papers([row.pk])
    return [
        (one, fact, gone.get(one["key"], ""))
        for one, fact in zip(form["reports"], said.papers(form), strict=True)
    ]


def bottles(form: Form, row: Any, clock: SiteClock) -> list[dict[str, Any]]:
    """One a line, with how many values count."""
    lines = said.samples(form, clock)
    waiting = {sample.label: sample.under_way for sample in row.samples.all()}
    out = []
    for told, line in zip(form["samples"], lines, strict=True):
        count = sum(value["set_aside"] is None for value in told["values"])
        draft = row.state == "draft"
        out.append(
            {
                "key": told["key"],
                "line": line,
                "count": count,
                "under_way": draft and waiting.get(told["label"], False),
            }
        )
    return out
