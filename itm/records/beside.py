"""What stands beside the guarded rows of a sealed record, laid beside its sealed bytes.

Pages, baselines and later verdicts read the last evaluation, and the visit with its notices is
printed by others than the report; so each is compared with the bytes, and with what the history
says of it where the bytes hold only a part (`core/noted.py`).
"""

import json
from collections.abc import Iterable, Iterator
from itertools import chain as one_after_the_other
from typing import Any

from calc.canonical import canonical_bytes, digest_bytes
from itm.accounts.models import Organisation
from itm.core import history
from itm.core.noted import unlike as noted_unlike
from itm.records.document import visit_of
from itm.records.facts import evaluated, instant, moves
from itm.records.models import Evaluation, Move, ProportioningTest, Record, Seal, Visit
from itm.records.models.kept import on

LATER = {"amend"}  # what a record still lives through once it is sealed
# By name in the document of a visit; these three have a way of their own to be compared.
OWN_WAY = {"contractor", "notices", "device_clocks", "restored_at", "restored_by"}


def unlike(seal: Seal, record: Record, form: dict[str, Any]) -> Iterator[str]:
    """A sentence for each thing that is not as sealed; `record` as its kind loads it whole."""
    yield from _columns(seal, form)
    evaluations = list(Evaluation.objects.filter(**on(record)).order_by("pk"))
    hand_ins = [move for move in record.moves.all() if move.verb == "hand_in"]
    yield from _evaluations(evaluations, form["evaluation"])
    yield from _moves(record, form["moves"])
    yield from _hand_ins(hand_ins, evaluations, str(record.key))
    kept: list[Any] = [seal, *evaluations, *record.moves.all()]
    if isinstance(record, ProportioningTest):
        yield from _visit(record.visit, form["visit"])
        kept += [record.visit, *record.visit.notices.all()]
    yield from noted_otherwise(kept)


def noted_otherwise(rows: Iterable[Any]) -> Iterator[str]:
    """Rows that are not what their own history says that they became."""
    for row, name in noted_unlike(rows):
        words = f"{name} is not what its history says" if name else "the history has no line of it"
        yield f"{row._meta.verbose_name} {row.key}: {words}."


def _columns(seal: Seal, form: dict[str, Any]) -> Iterator[str]:
    inside = form["seal"]
    held = {
        "form": (seal.form, form["form"]),
        "site": (str(seal.site.key), form["site"]["key"]),
        "signer": (seal.signer, inside["signer"]),
        "signer_qualification": (seal.signer_qualification, inside["qualification"]),
        "signer_number": (seal.signer_number, inside["number_of_licence"]),
        "signed_for": (seal.signed_for, inside["signed_for"]),
    }
    for name, (now, was) in held.items():
        if now != was:
            yield f"seal: {name} is {now!r}, sealed as {was!r}."


def _evaluations(rows: list[Evaluation], was: dict[str, Any]) -> Iterator[str]:
    if not rows:
        yield "The evaluation that was sealed is gone."
        return
    now = evaluated(rows[-1])
    for name, value in was.items():
        if not _same(now.get(name), value):
            yield f"evaluation: {name} of the last one is not what was sealed."


def _same(now: Any, was: Any) -> bool:
    try:
        return canonical_bytes(now) == canonical_bytes(was)
    except (TypeError, ValueError):
        return False


def _moves(record: Record, was: list[dict[str, Any]]) -> Iterator[str]:
    now = moves(record)
    for place, sealed in enumerate(was):
        if place >= len(now):
            yield f"moves: the {sealed['verb']} of {sealed['at']} is gone."
        elif now[place] != sealed:
            yield f"moves: number {place + 1} is {now[place]!r}, sealed as {sealed!r}."
    for added in now[len(was) :]:
        if added["verb"] not in LATER:
            yield f"moves: a {added['verb']} was added after sealing."


def _hand_ins(
    hand_ins: list[Move], evaluations: list[Evaluation], key: str
) -> Iterator[str]:  # fmt: skip
    """The bytes of each hand-in, and the result that it was handed in with."""
    if len(hand_ins) != len(evaluations):
        yield f"{len(hand_ins)} hand-ins stand beside {len(evaluations)} evaluations."
    for number, move in enumerate(hand_ins):
        place = f"The hand-in of {instant(move.at)}"
        if move.document is None:
            yield f"{place} has lost its bytes."
            continue
        data = bytes(move.document)
        if digest_bytes(data) != move.digest:
            yield f"{place}: its bytes do not give its digest."
            continue
        form = json.loads(data)
        if form.get("key") != key:
            yield f"{place} is of another record."
        elif number < len(evaluations):
            then = form.get("evaluation", {})
            if not _same(evaluated(evaluations[number]), then):
                yield f"{place}: its evaluation is not the one that is kept of it."


def _visit(visit: Visit, was: dict[str, Any]) -> Iterator[str]:
    now = visit_of(visit)
    for name, value in was.items():
        if name not in OWN_WAY and now.get(name) != value:
            yield f"visit: {name} is {now.get(name)!r}, sealed as {value!r}."
    if was["contractor"] not in _names(visit.contractor):
        yield f"visit: contractor is {now['contractor']!r}, sealed as {was['contractor']!r}."
    # Nobody is told anew of a visit whose record is handed in, so they are the same to the end.
    yield from _lines("notices", now["notices"], was["notices"], may_grow=False)
    clocks = now.get("device_clocks", []), was.get("device_clocks", [])
    yield from _lines("device_clocks", *clocks, may_grow=True)
    yield from _back(visit)


def _names(organisation: Organisation) -> set[str]:
    """Every name that it ever had: a record names it as it was called then."""
    lines = history.of_object(organisation)
    told = one_after_the_other.from_iterable((line.before, line.after) for line in lines)
    return {organisation.name} | {held["name"] for held in told if "name" in held}


def _lines(
    name: str, now: list[dict[str, Any]], was: list[dict[str, Any]], *, may_grow: bool
) -> Iterator[str]:
    left = list(now)
    for sealed in was:
        if sealed in left:
            left.remove(sealed)
        else:
            yield f"visit: of its {name} {sealed!r} is gone or changed."
    if not may_grow:
        for added in left:
            yield f"visit: to its {name} {added!r} was added after sealing."


def _back(visit: Visit) -> Iterator[str]:
    """When everything was back may come after the seal; then a line says so, by whom and when."""
    if visit.restored_at is None:
        return
    lines = [(line.ended_at, line.ended_by) for line in visit.restoration_lines.all()]
    if (visit.restored_at, visit.restored_by) not in lines:
        yield "visit: no line of its restoration ended when it says that everything was back."
