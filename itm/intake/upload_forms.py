"""Forms of an import: the file, what its cells leave open, and which column is which."""

from collections.abc import Sequence
from typing import Any

from django import forms

from itm.core.fields import DayField, NumberField
from itm.intake.layouts import kinds_for, layout_of
from itm.intake.models import Upload
from itm.intake.tables.cells import letters
from itm.registry.forms import Refusing

FEW = 4  # choices that are shown side by side, more of them in a list
SHOWN = 28  # letters of a cell in a choice


class UploadForm(Refusing, forms.Form):
    """Which table, and the file."""

    kind = forms.ChoiceField(label="What the table holds")
    chosen = forms.FileField(
        label="File", help_text="CSV or XLSX, at most 15 MB and 200,000 rows.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )  # fmt: skip

    def __init__(
        self, *args: Any, actor_kind: str, bench: bool, refused: Sequence[str] = (), kind: str = "",
    ) -> None:  # fmt: skip
        super().__init__(*args)
        self.refused = refused
        field: Any = self.fields["kind"]
        kinds = [one for one in kinds_for(actor_kind) if (one[0] == Upload.Kind.READINGS) == bench]
        field.choices = self.kinds = kinds
        self.initial["kind"] = Upload.Kind.READINGS if bench else kind

    def clean(self) -> dict[str, Any]:
        if self.refused:
            self.errors.pop("chosen", None)
            self.add_error("chosen", f"“{self.refused[0]}” is larger than 15 MB. Divide it.")
        return self.cleaned_data


class QuestionsForm(Refusing, forms.Form):
    """One entry for each question; what the cells settle stands there as it was found."""

    def __init__(self, data: Any = None, *, questions: Sequence[dict[str, Any]]) -> None:
        super().__init__(data)
        self.codes: dict[str, str] = {}
        for number, one in enumerate(questions):
            name = f"q{number}"
            self.codes[name] = one["code"]
            self.initial[name] = one["found"]
            if one.get("entry"):
                self.fields[name] = _in_own_words(one)
                continue
            choices = [(value, label) for value, label in one["choices"]]
            few = len(choices) <= FEW
            self.fields[name] = forms.ChoiceField(
                label=one["sentence"],
                choices=choices if few else [("", "Choose one"), *choices],
                widget=forms.RadioSelect if few else forms.Select,
                # A name may be none of those that are offered; everything else has an answer.
                required=not one["code"].startswith("means:"),
                error_messages={"required": "Choose one; nothing is guessed here."},
            )

    def answers(self) -> dict[str, str]:
        """As typed: 20.0 is not 20."""
        return {code: str(self.data.get(name, "")).strip() for name, code in self.codes.items()}


def _in_own_words(one: dict[str, Any]) -> forms.Field:
    options = {"label": one["sentence"], "required": False}
    if one["entry"] == "day":
        return DayField(**options)
    if one["entry"] == "number":
        return NumberField(**options)
    return forms.CharField(max_length=one["longest"], **options)


class ColumnsForm(Refusing, forms.Form):
    """For each of our columns the one of the file, by its letter and its head."""

    head = forms.ChoiceField(label="Row of the heads", required=False)

    def __init__(self, data: Any = None, *, row: Upload) -> None:
        super().__init__(data)
        found = row.findings
        rows = found.get("first_rows", [])
        field: Any = self.fields["head"]
        field.choices = [(str(n), f"row {n}: {_short(cells)}") for n, cells in enumerate(rows, 1)]
        self.initial["head"] = str(found.get("head", [1, 1])[1])
        names, last = found.get("names", []), found.get("head", [1, 1])[1]
        example = rows[last] if last < len(rows) else []
        choices = [("", "not in this file")]
        for index, name in enumerate(names):
            shown = example[index][:SHOWN] if index < len(example) else ""
            words = f"{letters(index)}: {name or 'without a head'}"
            choices.append((str(index), f"{words}, such as {shown}" if shown else words))
        for column in layout_of(row).columns:
            self.fields[f"column-{column.name}"] = forms.ChoiceField(
                label=column.label, choices=choices, required=False, help_text=column.help
            )
            at = found.get("columns", {}).get(column.name)
            self.initial[f"column-{column.name}"] = "" if at is None else str(at)

    @property
    def head_moved(self) -> bool:
        return self.cleaned_data.get("head", "") not in ("", self.initial["head"])

    def columns(self) -> dict[str, int]:
        return {
            name.removeprefix("column-"): int(value)
            for name, value in self.cleaned_data.items()
            if name.startswith("column-") and value
        }


def _short(cells: Sequence[str]) -> str:
    return ", ".join(filter(None, cells))[:60] or "empty"


class UndoForm(Refusing, forms.Form):
    because = forms.CharField(
        label="Why it is taken back", max_length=200,
        help_text="Stands with everything that the import made.",
    )  # fmt: skip
