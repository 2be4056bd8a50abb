"""Found again, its newest words stand beside the first; a class that a person lowered is asked for
again, and one that a person set worse is never loosened. Rules of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from itm.core.errors import Refused
from itm.findings import deciding, opening, queries
from itm.findings.models import Deficiency
from itm.findings.rules import Found
from itm.notices import gathering, telling
from itm.notices.models import News
from tests.deeds import inspection_of, tested

MAY, JUNE, JULY = date(2026, 5, 4), date(2026, 6, 15), date(2026, 7, 6)
AT = datetime(2026, 8, 1, 9, tzinfo=UTC)
K = News.Kind


def lean(scene, percent: float, on: date) -> Deficiency:
    tested(scene, {"minimum": percent, "design": 3.4}, on=on)
    return Deficiency.objects.get(cause="lean", closed_at=None)


def lowered(scene, row: Deficiency) -> Deficiency:
    return deciding.classify(
        actor=scene.owner, deficiency=row, severity=3, reason="the hazard bears it", at=AT
    )


def fault(scene, rule: str, words: str, on: date) -> Deficiency:
    """An inspection that finds this; the rule gives the class."""
    return raised(scene, inspection_of(scene, on).lines.get(), rule, words)


def raised(scene, line, rule: str, words: str) -> Deficiency:
    return opening.raise_found(
        scene.contractor, Found("inspection", "a valve", words, rule), origin=line,
        hook=opening.hook_of(line), at=AT, site=scene.site, found_on=line.inspection.done_on,
    )  # fmt: skip


def news(since: datetime, actor) -> list[tuple[str, str]]:
    gathering.begin_at(since)
    gathering.gather(timezone.now())
    rows = list(News.objects.visible_to(actor).filter(kind__startswith="wrong").order_by("pk"))
    told = telling.told_of(actor, rows)
    return [(row.kind, told[row.pk].detail) for row in rows]


def test_what_is_found_again_is_said_with_both_days_on_every_list(scene, client):
    row = lean(scene, 2.93, MAY)
    first = row.words
    row = lean(scene, 1.1, JULY)
    assert (row.words, row.again_on, row.found_on) == (first, JULY, MAY)
    assert row.again_words.startswith("Lean at minimum: 1.1")
    assert row.said == f"{first}; on 6 Jul 2026: {row.again_words}"
    client.force_login(scene.authority.user)
    for page in (reverse("deficiencies"), reverse("site", args=[scene.site.key])):
        assert row.said in client.get(page).content.decode()
    assert row.again_words in client.get(
        reverse("deficiency", args=[row.key])
    ).content.decode()  # fmt: skip
    head, [line] = queries.HEAD, queries.table(queries.all_deficiencies(scene.owner), JULY)
    cells = dict(zip(head, line, strict=True))
    assert (cells["Found again on"], cells["As found then"]) == ("2026-07-06", row.again_words)


def test_an_older_record_that_comes_late_is_not_the_newest(scene):
    lean(scene, 2.5, MAY)
    lean(scene, 1.1, JULY)
    newest = lean(scene, 2.0, JUNE).again_words
    assert newest.startswith("Lean at minimum: 1.1")


def test_what_is_found_again_is_told_with_the_old_and_the_new(scene):
    row = lean(scene, 2.93, MAY)
    since = timezone.now()
    gathering.begin_at(since + timedelta(minutes=11))
    found = lean(scene, 1.1, JULY)
    [(kind, detail)] = [one for one in news(since, scene.owner) if one[0] == K.WRONG_AGAIN]
    assert (kind, detail) == (K.WRONG_AGAIN, f"Impairment: {found.said}")
    assert row.words in detail


def test_found_worse_it_is_told_from_which_class_to_which(scene):
    row = fault(scene, "inspection", "valve stiff", MAY)
    was = row.get_severity_display()
    assert row.severity > 1
    row = fault(scene, "left_out", "valve shut", JULY)
    assert (row.severity, row.again_words) == (1, "valve shut")
    told = dict(news(timezone.now() - timedelta(hours=1), scene.authority))
    assert f"{was} → Impairment: found again, and worse. " in told[K.WRONG_WORSE]
    assert "valve shut" in told[K.WRONG_WORSE]


def test_a_class_that_was_lowered_is_asked_for_again_and_may_be_said_once_more(scene, client):
    row = lowered(scene, lean(scene, 2.93, MAY))
    with pytest.raises(Refused, match="already"):
        lowered(scene, row)
    row = lean(scene, 1.1, JULY)
    assert (row.severity, row.class_asked_on) == (3, JULY)
    assert row.classed == "Noncritical deficiency, lowered before it was found again"
    client.force_login(scene.owner.user)
    assert row.classed in client.get(reverse("deficiencies")).content.decode()
    assert "Say the class again" in client.get(
        reverse("deficiency", args=[row.key])
    ).content.decode()  # fmt: skip
    row = lowered(scene, row)
    assert (row.severity, row.class_asked_on) == (3, None)
    told = news(timezone.now() - timedelta(hours=1), scene.owner)
    assert told[-1][1].startswith("Noncritical deficiency → Noncritical deficiency: the hazard")


def test_a_class_that_a_person_set_worse_is_not_loosened_by_what_is_found(scene):
    row = fault(scene, "paper", "valve stiff", MAY)
    deciding.classify(actor=scene.owner, deficiency=row, severity=1, reason="no flow", at=AT)
    row = fault(scene, "property", "valve stiff, and leaks", JULY)
    assert (row.proposed, row.severity, row.severity_reason) == (2, 1, "no flow")


def test_the_same_record_handed_in_once_more_is_not_found_again(scene):
    row = fault(scene, "inspection", "valve stiff", MAY)
    assert raised(scene, row.inspection_line, "inspection", "valve stiff").again_on is None
    assert raised(scene, row.inspection_line, "inspection", "valve stiff, leaks").again_on == MAY
