"""A concentrate check as a document, alone or among those of a day, and a laboratory's answer."""

import base64
import binascii
import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction

from itm.accounts.actor import Actor
from itm.doors.document import DocumentRefused, Part, Walk
from itm.doors.filling import cleaned, filled
from itm.intake.complete_check import problems_of_check
from itm.intake.once import Answer, once
from itm.records import check_queries as queries
from itm.records import sampling
from itm.records.check_forms import LaboratoryForm
from itm.records.models import ConcentrateCheck
from itm.registry.attaching import Upload
from itm.registry.files import LARGEST, clean_name, too_large

FORM = 1
BEGIN = (
    "checked_on", "purpose", "circulated", "programmes", "u_refractive_index", "u_density", "notes",
)  # fmt: skip
BOTTLE = ("point", "label", "look")
WAY = ("laboratory", "sent_on", "consignment", "received_on")
VALUE = ("property", "value", "temperature", "origin", "method", "measured_on")
PAPER = ("laboratory", "number", "reported_on")
CHECK = ("form", "about", "tank", *BEGIN, "samples", "laboratory_reports", "hand_in")
ANSWER = (*PAPER, "file", "samples", "hand_in")
Take = Callable[[Walk, Part], dict[str, Any]]
OUTCOME = ("state", "limits", "strength", "layers")


def hand_in_check(*, actor: Actor, document: Any, key: uuid.UUID, at: datetime) -> Answer:
    """Take a check and hand it in, in one transaction, under the key of who asks.

    The answer names the check and its bottles by label. With `hand_in` false it stays a draft, as
    it does while a bottle is under way. An exact repeat is answered as the first time.
    Raises Forbidden; DocumentRefused check_refused; Refused other_body, bad_body.
    """
    do = _whole(actor, document, key, at, taken)
    return once(actor=actor, key=key, what="check", body=document, do=do, at=at)


def take_answer(
    *, actor: Actor, check: uuid.UUID, document: Any, key: uuid.UUID, at: datetime
) -> Answer:
    """A laboratory's report with its values, to a check whose bottles were under way; handed in
    where the document says so.

    Raises NotFound, Forbidden; DocumentRefused check_refused; Refused other_body, bad_body.
    """
    row = queries.check(actor, check)
    body = {"check": str(check), "document": document}
    do = _whole(actor, document, key, at, _answer(row))
    return once(actor=actor, key=key, what="laboratory answer", body=body, do=do, at=at)


def answered(
    *, actor: Actor, check: ConcentrateCheck, document: Any, file: SimpleUploadedFile,
    key: uuid.UUID, at: datetime,
) -> dict[str, Any]:  # fmt: skip
    """The same for a door that has the paper as bytes and keeps its own receipt.

    Raises Forbidden; DocumentRefused check_refused.
    """
    return _whole(actor, document, key, at, _answer(check, file))()


def _answer(row: ConcentrateCheck, file: SimpleUploadedFile | None = None) -> Take:
    def take(walk: Walk, top: Part) -> dict[str, Any]:
        top.only(ANSWER)
        labels = {sample.label: sample.key for sample in row.samples.all()}
        _report(walk, top, row, labels, file)
        for one in top.parts("samples"):
            one.only(("label", "values"))
            if (sample := _named(one, "label", labels)) is not None:
                _values(one, sample, usual="laboratory")
        return _handed_in(walk, top, row, labels, usual=False)

    return take


def _whole(
    actor: Actor, document: Any, key: uuid.UUID, at: datetime, take: Take
) -> Callable[[], dict[str, Any]]:
    @transaction.atomic
    def do() -> dict[str, Any]:
        walk = Walk(actor, key, at)
        with walk.whole():
            made = take(walk, Part(walk, document, ""))
            if walk.problems:
                raise DocumentRefused("check_refused", walk.problems)
        return made

    return do


def taken(walk: Walk, part: Part) -> dict[str, Any]:
    """One check of a document, from its beginning to its hand-in."""
    part.only(CHECK)
    if part.value and part.value.get("form", FORM) != FORM:
        part.wrong("form", "unknown_form", f"This server reads form {FORM} of a check.")
    tank = part.key("tank")
    if tank is None:
        return {}
    made = part.do("begin_check", {"tank": tank}, put=BEGIN, at=_begun(part), named={"of": "tank"})
    if made is None:
        return {}
    check = uuid.UUID(made["check"])
    labels: dict[str, uuid.UUID] = {}
    for one in part.parts("samples"):
        one.only((*BOTTLE, "taken_at", *WAY, "values"))
        filled_in = one.do("add_check_sample", {"check": check}, stamp="taken_at", put=BOTTLE)
        if filled_in is None:
            continue
        sample = labels[filled_in["label"]] = uuid.UUID(filled_in["sample"])
        if any(name in one.value for name in WAY):
            one.do("note_check_sample", {"sample": sample}, put=WAY)
        _values(one, sample, usual="own")
    row = queries.check(walk.actor, check)
    for paper in part.parts("laboratory_reports"):
        paper.only((*PAPER, "file", "samples"))
        _report(walk, paper, row, labels)
    return _handed_in(walk, part, row, labels, usual=True)


def _begun(part: Part) -> datetime | None:
    """With its first bottle. One of another day is told at its place and not at the check's."""
    filled_at = [one.instant("taken_at") for one in part.parts("samples")]
    on = part.text("checked_on")
    right = [at for at in filled_at if at and at <= part.walk.at and on in ("", f"{at:%Y-%m-%d}")]
    return min(right, default=None)


def _values(part: Part, sample: uuid.UUID, *, usual: str) -> None:
    for one in part.parts("values"):
        one.only((*VALUE, "entered_at", "set_aside"))
        origin = {} if "origin" in one.value else {"origin": usual}
        stamp = "entered_at" if "entered_at" in one.value else ""
        of = {"sample": sample}
        made = one.do("add_value", of, stamp=stamp, put=VALUE, extra=origin)
        if made is None or "set_aside" not in one.value:
            continue
        aside = one.part("set_aside")
        aside.only(("reason", "at"))
        key = one.key_of("add_value")
        aside.do("set_aside_value", {"value": key}, stamp="at", put=("reason",))


def _named(part: Part, name: str, labels: Mapping[str, uuid.UUID]) -> uuid.UUID | None:
    found = labels.get(part.text(name).strip())
    if found is None:
        known = ", ".join(labels) or "none"
        part.wrong(name, "no_sample", f"No bottle of this check has that label; there are {known}.")
    return found


def _report(
    walk: Walk, part: Part, check: ConcentrateCheck, labels: Mapping[str, uuid.UUID],
    given: SimpleUploadedFile | None = None,
) -> None:  # fmt: skip
    """Through the form of the page; `samples` are labels, or bottles with their values."""
    told = part.value.get("samples")
    chosen = []
    for place, one in enumerate(told if isinstance(told, list) else []):
        label = one.get("label") if isinstance(one, dict) else one
        if not isinstance(label, str) or label.strip() not in labels:
            known = ", ".join(labels) or "none"
            part.wrong(
                f"samples/{place}" if not isinstance(one, dict) else "samples", "no_sample",
                f"A bottle is named by its label; this check has {known}.",
            )  # fmt: skip
        else:
            chosen.append(str(labels[label.strip()]))
    file = given or _file(part)
    if file is None:
        return

    def keep() -> None:
        form = filled(
            LaboratoryForm, {**part.texts(PAPER), "samples": chosen}, files={"chosen": file},
            check=check, refused=[],
        )  # fmt: skip
        values = cleaned(form)
        got = values.pop("chosen")
        report = sampling.attach_report(
            actor=walk.actor, check=check, upload=Upload(got, got.name), at=walk.at,
            key=part.key_of("attach_report"), **values,
        )  # fmt: skip
        walk.files.append(report.file)

    part.attempt(keep, {**{name: name for name in PAPER}, "samples": "samples", "chosen": "file"})


def _file(part: Part) -> SimpleUploadedFile | None:
    """The paper itself, as {"name", "base64"}: its bytes are sealed with the check."""
    held = part.part("file")
    held.only(("name", "base64"))
    name = clean_name(held.text("name"))
    try:
        data = base64.b64decode(held.text("base64"), validate=True)
    except (binascii.Error, ValueError):
        held.wrong("base64", "not_base64", "Write the bytes of the file in base64 (RFC 4648).")
        return None
    if not data:
        held.wrong("base64", "missing", "The report itself belongs here, as base64.")
        return None
    if len(data) > LARGEST:
        held.wrong("base64", "too_large", too_large(name))
        return None
    return SimpleUploadedFile(name, data)


def _handed_in(
    walk: Walk, part: Part, check: ConcentrateCheck, labels: Mapping[str, uuid.UUID], *, usual: bool
) -> dict[str, Any]:
    bottles = {label: str(key) for label, key in labels.items()}
    out = {"check": str(check.key), "samples": bottles}
    if part.value.get("hand_in", usual) is not True or walk.problems:
        return {**out, "state": "draft"}
    places = {str(key): n for n, key in enumerate(labels.values())}
    if left := problems_of_check(check):
        for one in left:
            at = f"samples/{places[one.place]}" if one.place in places else "samples"
            walk.wrong(f"{part.pointer}/{at}", one.code, one.sentence)
        return {**out, "state": "draft"}
    return {**out, **(part.do("hand_in_check", {"check": check.key}) or {})}
