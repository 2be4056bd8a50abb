"""That an authority agreed to less is noted by whoever adopts: the authority has to hear of it, and
whoever noted it of what the authority answers."""

from datetime import date

from django.urls import reverse

from itm.core.figures import day
from itm.core.history import Change
from itm.notices.found import Found, Keyed, Keys
from itm.notices.models import News
from itm.registry.models import SiteAuthority
from itm.schedule.adopting import overseers_of
from itm.schedule.models import Adoption, Consent

K = News.Kind


def of_consent(change: Change) -> list[News.Kind]:
    if change.verb == "noted":
        return [K.CONSENTED]
    return [K.CONSENT_ANSWERED] if change.verb in Consent.Answer.values else []


def consents(keys: Keys) -> Keyed:
    """For one site: its owner and authorities. For all: the adopter with the authorities of its
    sites, or with their owners. The authority that is named always."""
    noted = Change.objects.filter(model=Consent._meta.label, object_key__in=keys, verb="noted")
    days = {key: at.date() for key, at in noted.values_list("object_key", "at")}
    out: Keyed = {}
    for row in Consent.objects.filter(key__in=keys).select_related("adoption__adopter"):
        site = row.adoption.site_id
        whom = {row.authority_id}
        if site is None:
            whom |= {row.adoption.adopter_id} | others(row.adoption, days[row.key])
        out[row.key] = [Found(row.key, site, to) for to in sorted(whom)]
    return out


def others(adoption: Adoption, on: date) -> set[int]:
    """Of an adoption for all sites: who looks after some of them on that day, or owns them."""
    if adoption.adopter.kind == "authority":
        watched = SiteAuthority.objects.covering(on).filter(organisation=adoption.adopter)
        return set(watched.values_list("site__owner", flat=True))
    return {one["organisation"] for one in overseers_of(adoption.adopter_id, None, on)}


def told_parts(kind: str, row: Consent) -> tuple[str, str]:
    """Where it goes on, and what is to be told. An answer as it stands now."""
    of = row.requirement or row.adoption.programme
    said = ""
    if kind == K.CONSENT_ANSWERED:
        said = f"{row.stands[:1].upper()}{row.stands[1:].rstrip('.')}. "
    detail = (
        f"{said}{row.authority.name}, by {row.person} on {day(row.given_on)}, {row.paper}: {of}. "
    )
    return reverse("adoption", args=[row.adoption.key]), detail + row.what[:200]
