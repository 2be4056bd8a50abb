"""Dates in the law on PFAS. The rows are data of fixtures/pfas; what is tested is that none of them
claims anything before somebody compared it with the text, which is our own rule."""

import dataclasses
from datetime import date

import pytest
from django.urls import reverse

from itm.core.errors import Forbidden, NotFound, Refused
from itm.registry import pfas_dates
from itm.registry.models import PfasDateCheck
from tests.factories import TODAY

SAYS = {"found": "holds", "checked_against": "consolidated text, 1 June 2026", "remark": ""}


def placed(scene, *chosen):
    return pfas_dates.set_places(actor=scene.owner, site=scene.site, chosen=chosen)


def test_every_row_names_place_source_and_how_sure_it_is():
    """Nothing is more than second-hand or looked up once, and the file says so of each row."""
    codes = set()
    for code, place in [(row.code, row.place) for row in pfas_dates._file()[1]]:
        row = pfas_dates.row_of(code)
        assert place in pfas_dates.places()
        assert row.words.endswith(".")
        assert row.source
        assert row.confidence in {
            "looked up", "looked up, second-hand", "looked up, a proposal", "from memory",
        }  # fmt: skip
        codes.add(code)
    assert len(codes) == len(pfas_dates._file()[1])


@pytest.mark.parametrize(
    ("code", "on"),
    [
        # Regulation (EU) 2025/1988, REACH Annex XVII entry 82, as quoted by open summaries.
        ("eu-in-force", date(2025, 10, 23)),
        ("eu-testing", date(2027, 4, 23)),
        ("eu-end", date(2030, 10, 23)),
        ("eu-long", date(2035, 10, 23)),
        # US EPA: designation under CERCLA in force since 8 July 2024.
        ("us-release", date(2024, 7, 8)),
        # 10 USC 2661 note.
        ("us-defence-end", date(2026, 10, 1)),
    ],
)
def test_published_days(code, on):
    assert pfas_dates.row_of(code).day == on


def test_what_is_to_come_stands_first_and_counts_its_days(scene):
    placed(scene, "eu")
    dates = pfas_dates.dates_at(scene.owner, scene.site, date(2027, 4, 22))
    assert (dates[0].row.on, dates[0].stands) == ("2027-04-23", "from 23 Apr 2027, in 1 day")
    days = [one.days for one in dates if one.days is not None]
    assert [one.days for one in dates] == [*days, None]  # no day is known of the last
    assert days == sorted(d for d in days if d > 0) + sorted(d for d in days if d <= 0)[::-1]
    assert pfas_dates.dates_at(scene.owner, scene.site, date(2027, 4, 23))[0].row.on > "2027-04-23"


def test_a_row_is_open_until_somebody_read_it_and_again_when_the_file_says_otherwise(
    scene, monkeypatch
):
    placed(scene, "eu")
    pfas_dates.note_check(
        actor=scene.authority, site=scene.site, code="eu-end", today=TODAY, **SAYS
    )

    def end():
        rows = pfas_dates.dates_at(scene.owner, scene.site, TODAY)
        return next(one for one in rows if one.row.code == "eu-end")

    assert (end().open, end().moved) == (False, False)
    places, rows, note = pfas_dates._file()
    other = tuple(
        dataclasses.replace(row, on="2031-01-01") if row.code == "eu-end" else row for row in rows
    )
    monkeypatch.setattr(pfas_dates, "_file", lambda: (places, other, note))
    assert (end().open, end().moved) == (True, True)


def test_who_may_say_so_and_of_which_rows(scene):
    placed(scene, "eu")
    with pytest.raises(Forbidden):
        pfas_dates.note_check(
            actor=scene.contractor, site=scene.site, code="eu-end", today=TODAY, **SAYS
        )
    with pytest.raises(NotFound):
        pfas_dates.note_check(
            actor=scene.owner, site=scene.site, code="us-release", today=TODAY, **SAYS
        )
    with pytest.raises(Refused) as refusal:
        pfas_dates.note_check(
            actor=scene.owner, site=scene.site, code="eu-end", today=TODAY,
            **{**SAYS, "found": "otherwise"},
        )  # fmt: skip
    assert "how it holds here" in refusal.value.sentence
    with pytest.raises(Refused) as refusal:
        placed(scene, "eu", "moon")
    assert refusal.value.code == "unknown_place"
    with pytest.raises(Forbidden):
        pfas_dates.set_places(actor=scene.authority, site=scene.site, chosen=["eu"])


def test_the_page_asks_for_the_place_and_then_for_a_reading(client, sign_in, scene):
    sign_in(client, scene.owner)
    page = reverse("pfas_dates", args=[scene.site.key])
    assert "Nobody has said yet" in client.get(page).content.decode()
    client.post(reverse("pfas_places", args=[scene.site.key]), {"chosen": ["eu", "ships"]})
    shown = client.get(page).content.decode()
    assert "European Union, Ships under SOLAS" in shown
    assert "11 of 11 are not compared" in shown
    deed = reverse("pfas_date_check", args=[scene.site.key, "eu-end"])
    refused = client.post(deed, {**SAYS, "checked_against": " ", "remark": "article 3"})
    assert refused.status_code == 422
    assert 'value="article 3"' in refused.content.decode()
    assert not PfasDateCheck.objects.exists()
    client.post(deed, SAYS)
    shown = client.get(page).content.decode()
    assert "10 of 11 are not compared" in shown
    assert "consolidated text, 1 June 2026" in shown
    client.post(reverse("pfas_places", args=[scene.site.key]), {})
    scene.site.refresh_from_db()
    assert scene.site.pfas_places == []
