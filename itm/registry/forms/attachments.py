"""Files that a person chooses, and why one is withdrawn."""

from typing import Any

from django import forms

from itm.registry.files import LARGEST, SUFFIXES, too_large
from itm.registry.forms.base import Refusing


class FilesInput(forms.FileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """One file or several; cleans to a list."""

    def __init__(self, **kwargs: Any) -> None:
        accept = ",".join(SUFFIXES)
        widget = FilesInput(attrs={"accept": accept})
        super().__init__(widget=widget, allow_empty_file=True, max_length=1000, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        given = data if isinstance(data, list | tuple) else [data] if data else []
        if not given and not self.required:
            return []
        if not given:
            raise forms.ValidationError("Choose at least one file.", code="required")
        return [super(FilesField, self).clean(one, initial) for one in given]


class AttachForm(Refusing, forms.Form):
    """The caption comes before the files: nothing that follows too large a file is lost."""

    caption = forms.CharField(
        max_length=200, required=False, label="What it shows", help_text="The same for all of them."
    )
    chosen = FilesField(
        label="Files",
        help_text=f"JPEG, PNG or WebP pictures and PDFs, up to {LARGEST // 1_000_000} MB each.",
    )

    def __init__(self, data: Any, files: Any, *, refused: list[str]) -> None:
        """`refused` names files that were too large to be taken in at all."""
        super().__init__(data or None, files or None)
        self.refused = refused

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if self.refused:
            self.errors.pop("chosen", None)
            cleaned.pop("chosen", None)
            for name in self.refused:
                self.add_error("chosen", too_large(name))
        return cleaned


class WithdrawFileForm(Refusing, forms.Form):
    why = forms.CharField(
        max_length=200,
        label="Why it is withdrawn",
        help_text="The file is shown to nobody any more; its line stays and says this.",
    )
