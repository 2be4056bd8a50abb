"""The only place that knows who sees which site.

A row reaches a person by one of four ways: the person's organisation owns the site, is an authority
of it, is engaged there today, or made the row itself. A model narrows a way by `open_to`. Whoever
holds a link has neither: of the sites that it opens, rows of few models are read, each of which
says so by `open_by_link`.
"""

from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.db import models
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden
from itm.core.history import TrackedQuerySet

if TYPE_CHECKING:
    from itm.registry.models import Site


class ScopedQuerySet(TrackedQuerySet):
    """Closed unless scoped: every queryset that reaches a person starts with `visible_to`."""

    def visible_to(self, actor: Actor) -> Self:
        if actor.organisation_id is None:
            return self._linked(actor)
        return self.filter(self._reach(actor))

    def _linked(self, actor: Actor) -> Self:
        model: Any = self.model
        if not actor.reads or not model.open_by_link:
            return self.none()
        return self.filter(Q(**{_at(model, "in"): actor.reads}) & model.open_to("link"))

    def _reach(self, actor: Actor) -> Q:
        from itm.registry.models import Grant, SiteAuthority

        model: Any = self.model
        org, to = actor.organisation_id, model.open_to
        owned = Q(**{_at(model, "owner"): org})
        overseen = SiteAuthority.objects.today(actor).filter(organisation=org)
        engaged = Grant.objects.today(actor).filter(organisation=org)
        reach = (
            (owned & to("owner"))
            | (Q(**{_at(model, "in"): overseen.values("site")}) & to("authority"))
            | (Q(**{_at(model, "in"): engaged.values("site")}) & to("contractor"))
        )
        mine = model.made_by(org)
        return reach if mine is None else reach | mine


def _at(model: Any, lookup: str) -> str:
    """Lookup on the site a row hangs on; an empty path is the site itself."""
    path = model.site_path
    if lookup == "in" and not path:
        return "pk__in"
    return f"{path}__{lookup}" if path else lookup


def works_at(actor: Actor, site: "Site") -> bool:
    """The owner's own people, or a contractor engaged there today: who tests, checks, inspects and
    notes what happens, while others only read."""
    today = actor.date_at(site.time_zone)
    return worked_at(actor, site, today, today)


def worked_at(actor: Actor, site: "Site", first: date, last: date) -> bool:
    """The owner's own people, or a contractor engaged there on a day from first to last."""
    from itm.registry.models import Grant

    if actor.organisation_id is None:
        return False
    if actor.organisation_id == site.owner_id:
        return True
    engaged = Grant.objects.covering(first, last).filter(site=site)
    return engaged.filter(organisation=actor.organisation_id).exists()


def require_work(actor: Actor, site: "Site", what: str) -> None:
    """Refuse a verb to who only reads here; `what` goes on after "can"."""
    if not works_at(actor, site):
        raise Forbidden(f"Only the owner's own people or a contractor engaged here can {what}.")


def require_authority(actor: Actor, site: "Site") -> None:
    """Refuse a verb to whoever is no authority of the site today."""
    from itm.registry.models import SiteAuthority

    watched = SiteAuthority.objects.today(actor).filter(site=site)
    if not watched.filter(organisation=actor.organisation_id).exists():
        raise Forbidden("Only an authority of the site can do this.")


class Scoped(models.Model):
    """A row that hangs on a site by `site_path`."""

    site_path: ClassVar[str]
    open_by_link: ClassVar[bool] = False

    class Meta:
        abstract = True

    @staticmethod
    def open_to(kind: str) -> Q:
        """What of these rows an owner, authority, contractor or link of the site may see: all."""
        return Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        """Rows that the organisation made and keeps seeing when its time at the site is over."""
        return None
