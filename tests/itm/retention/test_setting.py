"""Rules that an owner adopts, periods of its own, and what loose files are said to be."""

import json
from datetime import date, timedelta

import pytest

from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.retention import setting
from itm.retention.loading import FILE
from itm.retention.models import CountsFrom, KeepingPeriod, KeepingRule, Kind, PaperKind
from itm.schedule.models.programmes import LOOKED_UP
from tests.factories import SiteFactory, actor_of
from tests.itm.registry.pictures import picture
from tests.keeping import NOW, adopted, paper

pytestmark = pytest.mark.django_db


def test_every_rule_of_the_file_has_source_and_confidence_and_known_kinds():
    rows = json.loads(FILE.read_text(encoding="utf-8"))["rows"]
    assert {row["code"] for row in rows} == set(KeepingRule.objects.values_list("code", flat=True))
    for row in KeepingRule.objects.all():
        assert set(row.kinds) <= set(Kind.values)
        assert row.counts_from in CountsFrom.values
        assert len(row.source) > 5
        assert row.confidence in (*LOOKED_UP, "from memory")


@pytest.mark.parametrize(
    ("code", "years", "counts_from", "confidence"),
    [
        # Field practice, "Records and how long", with its marks.
        ("one-year-after-the-next", 1, "next", "looked up, second-hand"),
        ("three-years", 3, "done", "looked up, second-hand"),
        ("life-of-the-system", 0, "life", "looked up, second-hand"),
        ("tank-vessels", 0, "life", "looked up"),
        ("until-checked-again", 0, "next", "looked up"),
        ("eu-pfas-plan", 15, "done", "from memory"),
        ("waste-papers", 5, "done", "from memory"),
    ],
)
def test_each_rule_says_what_its_source_says(code, years, counts_from, confidence):
    row = KeepingRule.objects.get(code=code)
    assert (row.years, row.counts_from, row.confidence) == (years, counts_from, confidence)


def test_nothing_holds_until_it_is_adopted(scene):
    assert setting.periods_at([scene.site.pk]) == {scene.site.pk: []}


def test_a_rule_from_memory_asks_what_it_was_compared_with(scene):
    with pytest.raises(Refused, match="name the law") as refused:
        setting.adopt(
            actor=scene.owner, rule=setting.rule("eu-pfas-plan"), sites=[scene.site],
            checked_against=" ", at=NOW,
        )  # fmt: skip
    assert refused.value.place == "checked_against"
    [row] = setting.adopt(
        actor=scene.owner, rule=setting.rule("three-years"), sites=[scene.site],
        checked_against="", at=NOW,
    )  # fmt: skip
    assert row.set_by == scene.owner.person


def test_adopted_twice_it_holds_once(scene):
    other = SiteFactory(owner=scene.owner.organisation)
    adopted(scene, "three-years")
    made = setting.adopt(
        actor=scene.owner, rule=setting.rule("three-years"), sites=[scene.site, other],
        checked_against="", at=NOW,
    )  # fmt: skip
    assert [one.site for one in made] == [other]


@pytest.mark.parametrize("who", ["contractor", "authority", "member"])
def test_only_a_supervisor_or_manager_of_the_owner_sets_it(scene, who):
    actor = actor_of(scene.owner.organisation, "member") if who == "member" else getattr(scene, who)
    with pytest.raises(Forbidden):
        setting.adopt(
            actor=actor, rule=setting.rule("three-years"), sites=[scene.site],
            checked_against="", at=NOW,
        )  # fmt: skip
    with pytest.raises(Forbidden):
        setting.set_own(actor=actor, site=scene.site, kind="test", years=9, why="x", at=NOW)
    assert not KeepingPeriod.objects.exists()


def own(scene, kind="test", years=9, why="the insurer asks for it"):
    return setting.set_own(
        actor=scene.owner, site=scene.site, kind=kind, years=years, why=why, at=NOW
    )


def test_an_own_period_is_never_shorter_than_an_adopted_rule(scene):
    adopted(scene, "three-years")
    with pytest.raises(Refused, match=r"901\.6\.3 holds here and asks for 3 years") as refused:
        own(scene, years=2)
    assert (refused.value.code, refused.value.place) == ("shorter_than_rule", "years")
    assert own(scene, years=10).years == 10


def test_a_longer_own_period_takes_the_place_of_the_one_before(scene):
    first = own(scene, years=5)
    own(scene, years=8)
    first.refresh_from_db()
    assert first.ended_why.startswith("replaced by 8 years")
    with pytest.raises(Refused, match="8 years are set here already"):
        own(scene, years=7)


def test_an_ended_rule_says_why_and_holds_no_more(scene):
    adopted(scene, "three-years")
    row = KeepingPeriod.objects.get()
    with pytest.raises(Refused, match="Say why"):
        setting.end(actor=scene.owner, row=row, why=" ", at=NOW)
    setting.end(actor=scene.owner, row=row, why="another code governs", at=NOW)
    assert setting.periods_at([scene.site.pk]) == {scene.site.pk: []}
    line = Change.objects.filter(object_key=row.key).latest("pk")
    assert (line.verb, line.after["ended_why"]) == ("ended", "another code governs")
    again = setting.end(actor=scene.owner, row=row, why="again", at=NOW + timedelta(days=1))
    assert again.ended_why == "another code governs"


def test_what_a_file_is_can_be_said_again_and_the_last_word_counts(scene):
    row = paper(scene, kind="waste")
    setting.say(actor=scene.owner, site=scene.site, kinds={row.key: "plan"}, at=NOW)
    setting.say(actor=scene.owner, site=scene.site, kinds={row.key: "plan"}, at=NOW)
    assert list(PaperKind.objects.values_list("kind", flat=True)) == ["waste", "plan"]


def test_a_photo_is_one_until_somebody_says_that_it_shows_a_paper(scene):
    row = paper(scene, name="a.png", data=picture(), on=date(2001, 1, 1))
    setting.say(actor=scene.owner, site=scene.site, kinds={row.key: "photo"}, at=NOW)
    assert not PaperKind.objects.exists()
    setting.say(actor=scene.owner, site=scene.site, kinds={row.key: "waste"}, at=NOW)
    assert PaperKind.objects.get().kind == "waste"


def test_only_files_of_the_site_and_known_kinds_are_taken(scene):
    other = paper(scene)
    elsewhere = SiteFactory(owner=scene.owner.organisation)
    with pytest.raises(NotFound):
        setting.say(actor=scene.owner, site=elsewhere, kinds={other.key: "plan"}, at=NOW)
    with pytest.raises(Refused, match="Choose what the file is"):
        setting.say(actor=scene.owner, site=scene.site, kinds={other.key: "test"}, at=NOW)
