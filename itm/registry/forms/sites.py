"""Sites, who oversees them and who is engaged there; and the day of retiring anything."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.core.fields import DayField
from itm.registry import queries
from itm.registry.forms.base import CHOOSE, Refusing, RegistryForm
from itm.registry.models import Site, SiteAuthority
from itm.registry.models.sites import known_zones
from itm.registry.reassigning import contractors_of, engaged_now


class SiteForm(RegistryForm):
    time_zone = forms.CharField(
        max_length=40,
        help_text="Decides the dates of the site. Type a city: Europe/Lisbon, America/Chicago …",
        widget=forms.TextInput(attrs={"list": "time_zones", "autocomplete": "off"}),
    )

    class Meta:
        model = Site
        fields = ("name", "address", "country", "time_zone", "certificate_needed")
        labels = {"certificate_needed": "Take no test read with an instrument out of date"}
        help_texts = {
            "certificate_needed": "Left open, such a test goes in, and its record says so.",
        }
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}

    @staticmethod
    def zones() -> list[str]:
        """What the entry proposes."""
        return sorted(zone for zone in known_zones() if "/" in zone or zone == "UTC")


class AuthorityForm(Refusing, forms.Form):
    """Which authority looks after what at a site."""

    organisation = forms.ModelChoiceField(
        queries.organisations("authority").none(), label="Authority", empty_label=CHOOSE
    )
    scope = forms.ChoiceField(label="Looks after", choices=SiteAuthority.Scope.choices)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["organisation"].queryset = queries.organisations("authority")  # type: ignore[attr-defined]


class EngageForm(Refusing, forms.Form):
    """Which contractor may work at a site, and from when."""

    organisation = forms.ModelChoiceField(
        queries.organisations("contractor").none(), label="Contractor", empty_label=CHOOSE
    )
    starts_on = DayField(label="First day")
    ends_on = DayField(
        label="Last day", required=False, help_text="Leave empty while no end is agreed."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["organisation"].queryset = queries.organisations("contractor")  # type: ignore[attr-defined]


class InviteContractorForm(Refusing, forms.Form):
    """A contractor that is not here yet, and where it is to work."""

    founds = forms.CharField(label="Name of the company", max_length=120)
    email = forms.EmailField(
        label="E-mail address",
        help_text="Of the person who is to manage it here; the company adds its other people.",
    )
    starts_on = DayField(label="First day")
    ends_on = DayField(
        label="Last day", required=False, help_text="Leave empty while no end is agreed."
    )
    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), label="Sites", widget=forms.CheckboxSelectMultiple,
        to_field_name="key",
        error_messages={"required": "Tick the sites where the contractor is to work."},
    )  # fmt: skip

    def __init__(self, data: Any = None, *, actor: Actor, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        fields: Any = self.fields
        fields["sites"].queryset = queries.own_sites(actor)


class ReadLinkForm(Refusing, forms.Form):
    name = forms.CharField(
        label="Who reads, and what for", max_length=80,
        help_text="So that you know it again when you revoke it: an insurer and its policy year.",
    )  # fmt: skip
    ends_on = DayField(label="Last day", help_text="In UTC; at most a year from now.")
    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), label="Sites", widget=forms.CheckboxSelectMultiple,
        to_field_name="key", error_messages={"required": "Tick the sites that the link opens."},
    )  # fmt: skip

    def __init__(self, data: Any = None, *, actor: Actor) -> None:
        super().__init__(data)
        fields: Any = self.fields
        fields["sites"].queryset = queries.own_sites(actor)


class AdoptAtForm(Refusing, forms.Form):
    """A published rule that comes to hold at some of the sites for which a person may say so.

    `governs` names what it is compared with, `sites_for` those sites.
    """

    governs = ""
    sites_for: Callable[[Actor], QuerySet[Site]]
    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), label="At", widget=forms.CheckboxSelectMultiple,
        to_field_name="key", error_messages={"required": "Choose at least one site."},
    )  # fmt: skip
    checked_against = forms.CharField(label="Compared with", max_length=200, required=False)

    def __init__(self, data: Any, *, actor: Actor, asked: str = "") -> None:
        super().__init__(data, initial={"sites": [asked] if asked else []})
        fields: Any = self.fields
        fields["sites"].queryset = self.sites_for(actor).order_by("name", "pk")
        fields[
            "checked_against"
        ].help_text = (
            f"{self.governs} that governs the site. Needed where nobody has looked the rule up."
        )


class EndForm(Refusing, forms.Form):
    ends_on = DayField(
        label="Last day",
        help_text="The contractor sees the site up to and including this day.",
    )


class LetGoForm(Refusing, forms.Form):
    ended_on = DayField(
        label="Last day", help_text="Your authority sees the site up to and including this day."
    )


class ReassignForm(Refusing, forms.Form):
    """Who leaves, who follows, from which day and where."""

    leaves = forms.ModelChoiceField(
        queries.organisations("contractor").none(), label="Leaves", empty_label=CHOOSE
    )
    follows = forms.ModelChoiceField(
        queries.organisations("contractor").none(), label="Follows", empty_label=CHOOSE
    )
    starts_on = DayField(
        label="First day of the one who follows",
        help_text="The other leaves the day before and keeps seeing what it handed in.",
    )
    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), label="Sites", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: every site where the one who leaves is engaged.",
    )  # fmt: skip

    def __init__(self, data: Any = None, *, actor: Actor, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        self.actor = actor
        fields: Any = self.fields
        fields["leaves"].queryset = contractors_of(actor)
        fields["follows"].queryset = queries.organisations("contractor")
        fields["sites"].queryset = queries.own_sites(actor)

    @property
    def values(self) -> dict[str, Any]:
        cleaned = dict(self.cleaned_data)
        chosen = list(cleaned["sites"])
        return cleaned | {
            "sites": chosen
            or list(engaged_now(self.actor, cleaned["leaves"], cleaned["starts_on"]))
        }


class RetireForm(Refusing, forms.Form):
    retired_on = DayField(label="Out of use since")
