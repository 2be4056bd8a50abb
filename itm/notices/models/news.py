"""What came about at a site or in an organisation: one row for everybody whom it concerns."""

import uuid

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.notices.models.wishes import Wish
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site


class News(Scoped):
    """One thing that came about. It says what and of which thing, and no detail of it: these are
    read from the thing itself, by whoever may still see it.

    Gathered from the history and the standing of duties, so it is no business fact and keeps no
    history of its own. `source` is where it was found: found again, it is the same row.
    """

    class Kind(models.TextChoices):
        OVERDUE = "overdue", "Duties overdue"
        SHIFTED = "shifted", "Due dates moved"
        HANDED_IN = "handed_in", "Result handed in"
        SENT_BACK = "sent_back", "Result sent back"
        SEALED = "sealed", "Record sealed"
        INSPECTED = "inspected", "Inspection recorded"
        OUTSTANDING = "outstanding", "Result of a laboratory outstanding"
        UNSIGNED = "unsigned", "Result handed in and not signed for long"
        OUT = "out", "Taken out of service for a test"
        OUT_TAKEN_BACK = "out_taken_back", "Start of the test day taken back"
        LEFT_OUT = "left_out", "Left out of service"
        RESTORED = "restored", "Back in service"
        ADOPTED = "adopted", "Programme adopted"
        WAITS = "waits", "Rows of a programme wait for confirmation"
        ADOPTION_ENDED = "adoption_ended", "Programme ends"
        CONSENTED = "consented", "Consent of an authority noted"
        CONSENT_ANSWERED = "consent_answered", "Consent answered by its authority"
        ENGAGED = "engaged", "Contractor engaged"
        ENGAGEMENT_CHANGED = "engagement_changed", "Engagement changed"
        NAMED = "named", "Authority named"
        OVERSIGHT_CHANGED = "oversight_changed", "Authority lets go"
        FILE_WITHDRAWN = "file_withdrawn", "File withdrawn"
        GOING = "going", "Files are to be let go"
        STAYS = "stays", "Files are not let go after all"
        GONE = "gone", "Files let go"
        WRONG = "wrong", "Deficiency opened"
        WRONG_AGAIN = "wrong_again", "Deficiency found again"
        WRONG_WORSE = "wrong_worse", "Deficiency found again, and worse"
        WRONG_CLASSED = "wrong_classed", "Deficiency in another class"
        WRONG_ASSIGNED = "wrong_assigned", "Deficiency given to somebody"
        FIX_PROPOSED = "fix_proposed", "A later record shows a fix"
        WRONG_CLOSED = "wrong_closed", "Deficiency closed"
        TAKEN_OUT = "taken_out", "Taken out of service"
        BROUGHT_BACK = "brought_back", "Brought back into service"
        CLOCK = "clock", "Notice clock ran out"
        ASKED = "asked", "Question asked"
        ANSWERED = "answered", "Question answered"
        QUESTION_CLOSED = "question_closed", "Question closed"
        ORDERED = "ordered", "Order made"
        ORDER_SEEN = "order_seen", "Order seen by the owner"
        ORDER_MET = "order_met", "Order met"
        VISITED = "visited", "Visit of an authority noted"
        VISIT_WITHDRAWN = "visit_withdrawn", "Note of a visit withdrawn"
        ORDER_LATE = "order_late", "The day of an order is over"
        ORDER_WITHDRAWN = "order_withdrawn", "Order withdrawn"
        MAIL_LOST = "mail_lost", "A mail could not be sent"

    site_path = "site"
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True, related_name="news")
    # Whom it concerns besides those who see the site: the crew of a record, the contractor of an
    # engagement that has not begun, whoever adopted a programme for all sites.
    to = models.ForeignKey(Organisation, models.PROTECT, null=True, blank=True, related_name="news")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    subject = models.CharField(max_length=12)  # that of the kind, so that one query can ask for it
    thing = models.UUIDField(help_text="Key of the row that it is about")
    at = models.DateTimeField(help_text="When it was noted")
    on = models.DateField(null=True, blank=True, help_text="Of duties: the day that passed")
    # By value, as history has them. Nobody is told of what he did.
    person_key = models.UUIDField(null=True, blank=True)
    person = models.CharField(max_length=200, blank=True)
    organisation = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=500, blank=True, help_text="A reason that was given")
    source = models.CharField(max_length=80, unique=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        verbose_name_plural = "news"
        constraints = [
            models.CheckConstraint(
                condition=Q(site__isnull=False) | Q(to__isnull=False), name="news_concerns_somebody"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.at:%Y-%m-%d}"

    @staticmethod
    def open_to(kind: str) -> Q:
        """What of the news of a site an owner, authority or contractor of it is told: only what
        the thing itself would show."""
        return Q(kind__in=TOLD[kind])

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(to=organisation_id)


class Gathering(models.Model):
    """One row: up to when the history was read. Whoever reads on holds it."""

    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Gathered up to {self.at:%Y-%m-%d %H:%M}"


class ReadNews(models.Model):
    """One person has read one line. What lies below `Wish.read_to` is read without such a row."""

    part_of = "wish"
    wish = models.ForeignKey(Wish, models.PROTECT, related_name="read_news")
    news = models.ForeignKey(News, models.CASCADE, related_name="reads")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["wish", "news"], name="news_read_once")]

    def __str__(self) -> str:
        return f"{self.news} read by {self.wish}"


K = News.Kind
WRONGS = (
    K.WRONG, K.WRONG_AGAIN, K.WRONG_WORSE, K.WRONG_CLASSED, K.WRONG_ASSIGNED, K.FIX_PROPOSED,
    K.WRONG_CLOSED,
)  # fmt: skip
# The choices that a person has, each with its kinds.
SUBJECTS: dict[str, tuple[str, tuple[News.Kind, ...]]] = {
    "duties": ("Duties: overdue, moved", (K.OVERDUE, K.SHIFTED)),
    "records": (
        "Records: handed in, not signed, sent back, sealed, outstanding at a laboratory, "
        "inspections",
        (K.HANDED_IN, K.UNSIGNED, K.SENT_BACK, K.SEALED, K.INSPECTED, K.OUTSTANDING),
    ),
    "service": (
        "Systems out of service, and back",
        (
            K.OUT,
            K.OUT_TAKEN_BACK,
            K.LEFT_OUT,
            K.RESTORED,
            K.TAKEN_OUT,
            K.BROUGHT_BACK,
            K.CLOCK,
        ),
    ),
    "wrong": (
        "Deficiencies: opened, found again, class, who sees to it, closed",
        WRONGS,
    ),
    "authority": (
        "Questions, orders and visits of an authority",
        (
            K.ASKED,
            K.ANSWERED,
            K.QUESTION_CLOSED,
            K.ORDERED,
            K.ORDER_SEEN,
            K.ORDER_MET,
            K.ORDER_LATE,
            K.ORDER_WITHDRAWN,
            K.VISITED,
            K.VISIT_WITHDRAWN,
        ),
    ),
    "programmes": (
        "Programmes: adopted, ended, rows that wait, consents of an authority",
        (K.ADOPTED, K.WAITS, K.ADOPTION_ENDED, K.CONSENTED, K.CONSENT_ANSWERED),
    ),
    "people": (
        "Who works at a site and who looks after it, mails that never arrived",
        (K.ENGAGED, K.ENGAGEMENT_CHANGED, K.NAMED, K.OVERSIGHT_CHANGED, K.MAIL_LOST),
    ),
    "files": ("Files: withdrawn, let go", (K.FILE_WITHDRAWN, K.GOING, K.STAYS, K.GONE)),
}

SUBJECT_OF = {kind: name for name, (_, kinds) in SUBJECTS.items() for kind in kinds}

EVERYBODY = (
    K.OVERDUE, K.SHIFTED, K.SEALED, K.INSPECTED, K.ADOPTED, K.ADOPTION_ENDED, K.NAMED,
    K.OVERSIGHT_CHANGED, K.FILE_WITHDRAWN, *WRONGS, K.TAKEN_OUT, K.BROUGHT_BACK, K.CLOCK,
    K.ORDERED, K.ORDER_SEEN, K.ORDER_MET, K.ORDER_LATE, K.ORDER_WITHDRAWN,
)  # fmt: skip
QUESTIONS = (K.ASKED, K.ANSWERED, K.QUESTION_CLOSED)
VISITS = (K.VISITED, K.VISIT_WITHDRAWN)  # not a contractor's to read
CONSENTS = (K.CONSENTED, K.CONSENT_ANSWERED)  # between the two alone
SERVICE = (K.OUT, K.OUT_TAKEN_BACK, K.LEFT_OUT, K.RESTORED)
ENGAGEMENT = (K.ENGAGED, K.ENGAGEMENT_CHANGED)
KEEPING = (K.GOING, K.STAYS, K.GONE)  # the owner's alone to decide, and to object to
# A bottle under way belongs to a draft, so that its line goes to the maker of the check alone.
# An authority sees no draft and nothing that is only handed in, but that it waits for long for its
# signature; the contractor of a visit is told
# as the one to whom the line goes, and another contractor of the site not at all.
TOLD: dict[str, tuple[News.Kind, ...]] = {
    "owner": (
        *EVERYBODY, *SERVICE, *QUESTIONS, *VISITS, *ENGAGEMENT, *KEEPING, K.HANDED_IN, K.SENT_BACK,
        K.UNSIGNED, *CONSENTS,
    ),
    "authority": (*EVERYBODY, *SERVICE, *QUESTIONS, *VISITS, K.UNSIGNED, *CONSENTS),
    "contractor": tuple(kind for kind in EVERYBODY if kind != K.SEALED),
}  # fmt: skip
