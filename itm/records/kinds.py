"""The kinds of record that are sealed, and in what they differ. Everything else is one machinery:
the table of moves, the chain, the comparison with the rows, the recomputation."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from itm.records import document as test_form
from itm.records import document_check as check_form
from itm.records import evaluate, evaluate_check, judging
from itm.records.evaluate import Preview
from itm.records.loading import whole, whole_check
from itm.records.models import ConcentrateCheck, Evaluation, ProportioningTest, Record
from itm.records.rows import Tables, guarded, guarded_of_check


@dataclass(frozen=True)
class Kind:
    """`name` and `form` stand in the document; `own` is the table of the record itself."""

    name: str
    form: int
    own: str
    whole: Callable[[int], Any]
    document: Callable[[Any, Evaluation], dict[str, Any]]
    guarded: Callable[[Any], Tables]
    evaluate: Callable[..., Evaluation]
    outcome: Callable[[dict[str, Any]], dict[str, str]]
    judge: Callable[[Mapping[str, Any]], dict[str, Any]]
    preview: Callable[[Any], Preview]
    nothing: Mapping[str, Any]  # what the document of a draft without a result says in its place


KINDS: Mapping[type[Record], Kind] = {
    ProportioningTest: Kind(
        name=test_form.KIND,
        form=test_form.FORM,
        own="test",
        whole=whole,
        document=test_form.document,
        guarded=guarded,
        evaluate=evaluate.evaluate,
        outcome=lambda result: dict(
            zip(("limits", "certainty"), evaluate.outcome(result), strict=True)
        ),
        judge=judging.judge,
        preview=evaluate.preview_of,
        nothing={"flow_points": [], "samples": [], "warnings": []},
    ),
    ConcentrateCheck: Kind(
        name=check_form.KIND,
        form=check_form.FORM,
        own="check",
        whole=whole_check,
        document=check_form.document_of_check,
        guarded=guarded_of_check,
        evaluate=evaluate_check.evaluate_check,
        outcome=evaluate_check.outcome,
        judge=evaluate_check.judge,
        preview=evaluate_check.preview,
        nothing={"properties": [], "strength": [], "layers": [], "baseline": {}},
    ),
}


def kind_of(record: Record) -> Kind:
    return KINDS[type(record)]
