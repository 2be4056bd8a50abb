"""What a person may choose about the summary mail and the news."""

from typing import Any

from django import forms

from itm.notices.models import MOST_LEAD_DAYS, SUBJECTS, WEEKDAYS, Wish
from itm.notices.news import wanted
from itm.registry.forms.base import Refusing
from itm.registry.models.sites import known_zones


class WishForm(Refusing, forms.Form):
    weekday = forms.TypedChoiceField(
        label="Summary mail",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "No mail"), *((n, f"Every {name}") for n, name in enumerate(WEEKDAYS))],
    )
    lead_days = forms.IntegerField(
        label="Days ahead",
        min_value=1,
        max_value=MOST_LEAD_DAYS,
        help_text="The mail also names what falls due within so many days.",
    )
    time_zone = forms.CharField(
        max_length=40,
        help_text="The mail leaves at six in the morning on this clock.",
        widget=forms.TextInput(attrs={"list": "time_zones", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, wish: Wish, **kwargs: Any) -> None:
        names = ("weekday", "lead_days", "time_zone")
        kwargs["initial"] = {name: getattr(wish, name) for name in names}
        super().__init__(*args, **kwargs)

    @staticmethod
    def zones() -> list[str]:
        return sorted(zone for zone in known_zones() if "/" in zone or zone == "UTC")

    def clean_time_zone(self) -> str:
        zone: str = self.cleaned_data["time_zone"].strip()
        if zone not in known_zones():
            raise forms.ValidationError(
                f"There is no time zone “{zone}”. Type a city: Europe/Lisbon, America/Chicago …"
            )
        return zone


class AtOnceForm(forms.Form):
    at_once = forms.BooleanField(label="Mail me at once", required=False)

    def __init__(self, *args: Any, wish: Wish | None = None, **kwargs: Any) -> None:
        if wish is not None:
            kwargs["initial"] = {"at_once": wish.at_once}
        super().__init__(*args, **kwargs)


class SubjectsForm(forms.Form):
    """Boxes: what is not ticked is not told inside the product."""

    subjects = forms.MultipleChoiceField(
        required=False,
        choices=[(name, words) for name, (words, _) in SUBJECTS.items()],
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, wish: Wish | None = None, **kwargs: Any) -> None:
        if wish is not None:
            kwargs["initial"] = {"subjects": wanted(wish)}
        super().__init__(*args, **kwargs)
