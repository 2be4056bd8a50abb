"""What a person is told of inside the product: the lines, which are new, and reading them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from uuid import UUID

from django.db.models import F, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.notices.models import SUBJECTS, News, ReadNews, Wish
from itm.notices.services import wish_of
from itm.notices.telling import Told, told_of
from itm.trends.stretch import Stretch, page_number, stretch

KEPT_DAYS = 90  # older news is no news; the things themselves stay; own choice
MOST = 99  # counted of what is new; own choice


@dataclass(frozen=True)
class Line:
    news: News
    new: bool
    told: Told

    @property
    def zone(self) -> str:
        """On whose clock its time is written: the site's, where it is of one."""
        return self.news.site.time_zone if self.news.site else "UTC"


def _wish(actor: Actor) -> QuerySet[Wish]:
    rows = Wish.objects.filter(
        membership__user=actor.user, membership__organisation=actor.organisation_id
    )
    return rows.order_by("-membership__pk")


def news_for(actor: Actor) -> QuerySet[News]:
    """What the actor may be told and wants to be, but for what the actor did; the newest first."""
    since = datetime.combine(actor.today - timedelta(days=KEPT_DAYS), time.min, UTC)
    unwanted = Coalesce(Subquery(_wish(actor).values("not_told")[:1]), Value(""))
    rows = News.objects.visible_to(actor).filter(at__gte=since)
    return (
        rows.annotate(unwanted=unwanted)
        .exclude(unwanted__contains=F("subject"))
        .exclude(person_key__isnull=False, person_key=actor.person_key)
    )


def new_for(actor: Actor) -> QuerySet[News]:
    read_to = Coalesce(Subquery(_wish(actor).values("read_to")[:1]), Value(0))
    marked = ReadNews.objects.filter(wish__in=_wish(actor).values("pk"))
    return news_for(actor).filter(pk__gt=read_to).exclude(pk__in=marked.values("news"))


def count_new(actor: Actor) -> str:
    """How many lines are new, for the head of every page: one query that stops counting at MOST.

    Empty where nothing is, and where nobody acts.
    """
    if actor.user is None:
        return ""
    count = new_for(actor).order_by().values("pk")[: MOST + 1].count()
    return f"more than {MOST}" if count > MOST else str(count or "")


def lines(actor: Actor, *, only_new: bool = False, page: str | int = 1) -> Stretch[Line]:
    """A stretch of the list in a fixed number of queries."""
    rows = new_for(actor) if only_new else news_for(actor)
    found = stretch(rows.select_related("site").order_by("-pk"), page_number(page))
    new = set(
        new_for(actor).filter(pk__in=[n.pk for n in found.object_list]).values_list("pk", flat=True)
    )
    told = told_of(actor, found.object_list)
    made = [Line(row, row.pk in new, told[row.pk]) for row in found.object_list]
    return Stretch(made, found.number, found.has_next)


def one(actor: Actor, key: UUID) -> Line:
    """Raises NotFound."""
    row = news_for(actor).filter(key=key).select_related("site").first()
    if row is None:
        raise NotFound("news", key)
    return Line(row, new_for(actor).filter(pk=row.pk).exists(), told_of(actor, [row])[row.pk])


def mark(*, actor: Actor, key: UUID, read: bool = True) -> None:
    """Read, or new again. Each person for itself; may run twice. Raises NotFound."""
    row = one(actor, key).news
    wish = _kept(actor)
    if read:
        if row.pk > wish.read_to:
            ReadNews.objects.get_or_create(wish=wish, news=row)
        return
    ReadNews.objects.filter(wish=wish, news=row).delete()
    if row.pk <= wish.read_to:
        # All below the mark was read: it goes below this line, and what lies between stays read.
        between = news_for(actor).filter(pk__gt=row.pk, pk__lte=wish.read_to)
        reads = [ReadNews(wish=wish, news_id=pk) for pk in between.values_list("pk", flat=True)]
        ReadNews.objects.bulk_create(reads, ignore_conflicts=True)
        wish.read_to = row.pk - 1
        wish.save()


def mark_all(*, actor: Actor, up_to: UUID) -> None:
    """Everything up to a line that was on the page: what came while it was read stays new.

    May run twice. Raises NotFound.
    """
    row = one(actor, up_to).news
    wish = _kept(actor)
    if row.pk > wish.read_to:
        wish.read_to = row.pk
        wish.save()
    ReadNews.objects.filter(wish=wish, news__lte=wish.read_to).delete()


def wanted(wish: Wish) -> list[str]:
    return [name for name in SUBJECTS if name not in wish.not_told.split()]


def choose_subjects(*, actor: Actor, subjects: Collection[str]) -> Wish:
    """What is not named is not told inside the product; the mail and the pages stay as they are."""
    wish = wish_of(actor)
    wish.not_told = " ".join(name for name in SUBJECTS if name not in subjects)
    wish.save()
    return wish


def _kept(actor: Actor) -> Wish:
    wish = wish_of(actor)
    if wish.pk is None:
        wish.save()
    return wish


def read_everything(*, actor: Actor, but: int = 0) -> None:
    """All but the newest few lines are read: for a world that begins with years of history."""
    newest: Sequence[int] = list(news_for(actor).values_list("pk", flat=True)[: but + 1])
    if newest:
        wish = _kept(actor)
        wish.read_to = newest[-1] if len(newest) > but else newest[-1] - 1
        wish.save()
