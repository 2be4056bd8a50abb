"""One page for all tasks of a round: fields built from what each row wants recorded."""

import re
import uuid
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from itm.core.errors import Refused
from itm.core.fields import DayField
from itm.records import wants
from itm.records.inspecting import Entry, judged
from itm.registry.attaching import Upload
from itm.registry.forms.base import Refusing
from itm.schedule.models import Duty

OF_A_TASK = re.compile(r"\d+-")
YES_NO = ((wants.YES, "Yes"), (wants.NO, "No"))


def want_field(want: wants.Want) -> forms.Field:
    """Never required by itself: a task left empty as a whole is simply not done yet."""
    common: dict[str, Any] = {"label": want["label"], "required": False}
    if want["kind"] == "yes_no":
        return forms.ChoiceField(choices=YES_NO, widget=forms.RadioSelect, **common)
    if want["kind"] == "choice":
        choices = [(choice, choice) for choice in want["choices"]]
        return forms.ChoiceField(choices=choices, widget=forms.RadioSelect, **common)
    if want["kind"] == "photo":
        picture: Any = forms.FileField(
            max_length=wants.LONGEST, allow_empty_file=True, **common,
            widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        )  # fmt: skip
        picture.optional = bool(want.get("optional"))
        return picture
    field: Any = forms.CharField(max_length=wants.LONGEST, help_text=wants.limits(want), **common)
    field.optional = bool(want.get("optional"))
    if want["kind"] == "number":
        field.unit = want.get("unit", "")
        field.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})
    return field


@dataclass
class Task:
    """One duty with its fields, for the template."""

    duty: Duty
    wants: list[BoundField]
    reason: BoundField
    note: BoundField
    broken: BoundField

    @property
    def touched(self) -> bool:
        """Stays open on the page: something was entered, or something is wrong."""
        fields = [*self.wants, self.reason, self.note]
        return any(field.errors or field.value() for field in fields)


class RoundForm(Refusing, forms.Form):
    done_on = DayField(label="Done on")
    note = forms.CharField(
        label="About the whole round", max_length=500, required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )  # fmt: skip
    once = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(
        self, data: Any = None, files: Any = None, *, duties: Sequence[Duty], initial: Any = None
    ) -> None:
        super().__init__(data, files, initial=initial)
        self.duties = list(duties)
        for duty in self.duties:
            for want in duty.requirement.evidence:
                self.fields[f"{duty.pk}-{want['key']}"] = want_field(want)
            for name, field in closing().items():
                self.fields[f"{duty.pk}-{name}"] = field

    def tasks(self) -> list[Task]:
        return [
            Task(
                duty,
                [self[f"{duty.pk}-{want['key']}"] for want in duty.requirement.evidence],
                self[f"{duty.pk}-reason"],
                self[f"{duty.pk}-note"],
                self[f"{duty.pk}-broken"],
            )
            for duty in self.duties
        ]

    def general(self) -> list[BoundField]:
        return [self["done_on"], self["note"], self["once"]]

    def entries(self) -> list[Entry]:
        cleaned = self.cleaned_data
        return [
            Entry(
                duty,
                {
                    want["key"]: typed(cleaned.get(f"{duty.pk}-{want['key']}"))
                    for want in duty.requirement.evidence
                },
                cleaned.get(f"{duty.pk}-reason") or "",
                cleaned.get(f"{duty.pk}-note") or "",
                bool(cleaned.get(f"{duty.pk}-broken")),
            )
            for duty in self.duties
        ]

    def photos(self) -> dict[tuple[int, str], Upload]:
        """By duty and want."""
        out = {}
        for duty in self.duties:
            for want in duty.requirement.evidence:
                file = self.cleaned_data.get(f"{duty.pk}-{want['key']}")
                if want["kind"] == "photo" and file:
                    out[duty.pk, want["key"]] = Upload(file, file.name)
        return out

    def clean(self) -> dict[str, Any]:
        """All tasks are judged before the page says no, so that all sentences stand there."""
        cleaned = super().clean() or self.cleaned_data
        gone = self.data.keys() - self.fields.keys()
        if any(OF_A_TASK.match(name) and self.data[name] for name in gone):
            self.add_error(
                None,
                "A task that you filled in was recorded by somebody else meanwhile, or is asked no "
                "more. The others are still here; look at the latest inspections, then record.",
            )
        for entry in self.entries():
            if entry.empty:
                continue
            try:
                judged(entry)
            except Refused as refusal:
                place = refusal.place if refusal.place in self.fields else None
                self.add_error(place, forms.ValidationError(refusal.sentence, code=refusal.code))
        return cleaned


def typed(value: Any) -> str:
    """A file stands in the record by the name that its device gave it."""
    return getattr(value, "name", value) or ""


class TaskForm(forms.Form):
    """What is said of every task, whatever it wants; as a device says it, of one."""

    broken = forms.BooleanField(label="Something else is not in order", required=False)
    note = forms.CharField(label="Note", max_length=500, required=False)
    reason = forms.CharField(
        label="Not possible today, because", max_length=300, required=False,
        help_text="The task stays due; the reason stands on record.",
    )  # fmt: skip
    done_on = DayField(label="Done on", required=False)


CLOSING = ("broken", "note", "reason")


def closing() -> dict[str, forms.Field]:
    return {name: deepcopy(TaskForm.base_fields[name]) for name in CLOSING}


class CorrectForm(Refusing, forms.Form):
    """The same wants as before, filled with what was recorded."""

    once = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, data: Any = None, *, line: Any) -> None:
        super().__init__(data)
        self.wants = [want for want in line.requirement.evidence if want["kind"] != "photo"]
        typed = {one["key"]: one["typed"] for one in line.answers}
        for want in self.wants:
            self.fields[want["key"]] = want_field(want)
            self.initial[want["key"]] = typed.get(want["key"], "")
        self.fields["broken"] = deepcopy(TaskForm.base_fields["broken"])
        self.fields["impossible"] = forms.BooleanField(
            label="It had not been possible after all", required=False
        )
        self.fields["note"] = forms.CharField(label="Note", max_length=500, required=False)
        self.fields["why"] = forms.CharField(label="Why it is corrected", max_length=300)
        self.initial["broken"] = line.ticked
        self.initial["note"] = line.note

    @property
    def entered(self) -> dict[str, str]:
        return {want["key"]: self.cleaned_data.get(want["key"]) or "" for want in self.wants}
