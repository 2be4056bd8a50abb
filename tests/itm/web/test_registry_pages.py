"""The registry's pages: lists, forms that keep what was typed, retiring and taking back."""

from datetime import date
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.test import Client

from itm.core.history import Change
from itm.registry.models import (
    ConcentrateLot,
    FlowPoint,
    FoamSystem,
    Grant,
    Instrument,
    Proportioner,
    Site,
    SiteAuthority,
    Tank,
    TankFill,
)
from itm.registry.restoring import FLUSH_ORDER, restoration_order
from itm.schedule.models import Duty
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
    FoamSystemFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)

SYSTEM = {
    "name": "Rack foam",
    "kind": "deluge",
    "hazard": "Loading rack",
    "fuel": "polar",
    "minimum_flow": "420",
    "minimum_flow_unit": "L/min",
    "design_flow": "2 100",
    "design_flow_unit": "L/min",
    "required_minutes": "10,5",
    "criterion": "common",
    "custom_lower": "",
    "custom_upper": "",
    "criterion_source": "",
    "commissioned_on": "2020-04-30",
}


def points(*rows: dict[str, str], initial: int = 2) -> dict[str, str]:
    data = {"points-TOTAL_FORMS": str(len(rows)), "points-INITIAL_FORMS": str(initial)}
    for number, row in enumerate(rows):
        data |= {f"points-{number}-{name}": value for name, value in row.items()}
    return data


def point(name: str, flow: str, unit: str = "L/min", **more: str) -> dict[str, str]:
    return {"name": name, "flow": flow, "flow_unit": unit, **more}


def device(tank: Tank, *rows: dict[str, str], **changed: str) -> dict[str, str]:
    return {
        "tag": "PR-9",
        "kind": "in_line_balanced",
        "tank": str(tank.pk),
        "nominal_percent": "3",
        "lowest_listed_flow": "",
        "lowest_listed_flow_unit": "L/min",
        "highest_listed_flow": "2500",
        "highest_listed_flow_unit": "L/min",
        "flush_order": "",
        "restoration_order": "",
        **points(*(rows or (point("minimum", "420"), point("design", "2100")))),
        **changed,
    }


@pytest.fixture
def enter(client: Client, sign_in: Any, scene: Scene) -> Any:
    return lambda who: sign_in(client, getattr(scene, who))


# The path: site, system, tank, proportioner ------------------------------------------------------


def test_owner_goes_from_a_new_site_to_a_proportioner_with_what_is_due(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    answer = page.post(
        "/sites/new/",
        {"name": "North quay", "address": "Quay 4", "country": "Norway",
         "time_zone": "Europe/Oslo"},
    )  # fmt: skip
    site = Site.objects.get(name="North quay")
    assert answer["Location"] == f"/sites/{site.key}/"
    assert site.owner == scene.owner.organisation

    page.post(f"/sites/{site.key}/systems/new/", SYSTEM)
    system = FoamSystem.objects.get(name="Rack foam")
    assert system.site == site
    assert system.design_flow == pytest.approx(2.1 / 60, rel=1e-15)
    assert system.design_flow_typed == "2 100 L/min"
    assert system.required_minutes == 10.5

    page.post(
        f"/sites/{site.key}/tanks/new/",
        {"tag": "T-9", "kind": "bladder", "capacity": "500", "capacity_unit": "US gal",
         "usable_volume": "470", "usable_volume_unit": "US gal"},
    )  # fmt: skip
    tank = Tank.objects.get(tag="T-9")
    assert tank.capacity == pytest.approx(500 * 3.785411784e-3, rel=1e-15)  # NIST SP 811, B.8

    answer = page.post(f"/systems/{system.key}/proportioners/new/", device(tank))
    made = Proportioner.objects.get(tag="PR-9")
    assert answer["Location"] == f"/proportioners/{made.key}/"
    assert made.flush_order == FLUSH_ORDER
    assert made.restoration_order == restoration_order("bladder", "in_line_balanced")
    assert made.lowest_listed_flow is None
    flows = [(one.name, one.flow_typed) for one in made.flow_points.order_by("flow")]
    assert flows == [("minimum", "420 L/min"), ("design", "2100 L/min")]
    assert {duty.tank_id or duty.proportioner_id for duty in Duty.objects.all()} == {
        tank.pk, made.pk,
    }  # fmt: skip
    assert {duty.counts_from for duty in Duty.objects.all()} == {date(2020, 4, 30)}

    text = page.get(f"/sites/{site.key}/").content.decode()
    for shown in ("North quay", "Rack foam", "PR-9", "T-9", "470 US gal", "no fill noted"):
        assert shown in text
    change = Change.objects.filter(object_key=site.key).get()
    assert (change.verb, change.person) == ("created", scene.owner.person)


def test_lines_written_by_a_person_stay_as_they_are(enter: Any, scene: Scene) -> None:
    lists = {"restoration_order": "Valve A open\nValve B shut", "flush_order": "Water shut"}
    enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/", device(scene.tank, **lists)
    )
    made = Proportioner.objects.get(tag="PR-9")
    assert made.restoration_order == ["Valve A open", "Valve B shut"]
    assert made.flush_order == ["Water shut"]


def test_list_offered_for_another_kind_follows_the_kind_that_was_chosen(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/systems/{scene.system.key}/proportioners/new/"
    offered = "\n".join(restoration_order("bladder", ""))
    page.post(url, device(scene.tank, kind="electronic", restoration_order=offered))
    made = Proportioner.objects.get(tag="PR-9")
    assert made.restoration_order == restoration_order("bladder", "electronic")


def test_choosing_a_kind_answers_with_its_list_and_leaves_written_lines_alone(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/systems/{scene.system.key}/proportioners/new/"
    asked = {"kind": "electronic", "tank": str(scene.tank.pk), "restoration_order": ""}
    fresh = page.get(url, asked, headers={"HX-Request": "true"}).content.decode()
    assert "Controller on automatic, percent set as listed" in fresh
    assert "<html" not in fresh
    asked["restoration_order"] = "My own line"
    kept = page.get(url, asked, headers={"HX-Request": "true"}).content.decode()
    assert "My own line" in kept
    assert "Controller on automatic" not in kept
    wrong = page.get(url, {**asked, "tank": "x", "restoration_order": "x" * 201},
                     headers={"HX-Request": "true"})  # fmt: skip
    assert wrong.status_code == 200
    assert "x" * 201 in wrong.content.decode()


# Sentences at the form, nothing typed lost -------------------------------------------------------


def test_constraints_of_the_database_speak_at_the_form_and_keep_what_was_typed(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/sites/{scene.site.key}/systems/new/"
    answer = page.post(url, {**SYSTEM, "name": scene.system.name, "minimum_flow": "9999",
                             "custom_lower": "3", "hazard": "Pump bay"})  # fmt: skip
    text = answer.content.decode()
    assert answer.status_code == 422
    for sentence in (
        "This site already has a system with that name.",
        "Minimum flow must be above 0 and at most the design flow.",
        "Limits of its own need both a lower and a higher upper percent, 0 to 100;",
    ):
        assert sentence in text
    for typed in ('value="9999"', 'value="2 100"', 'value="Pump bay"', 'value="10,5"'):
        assert typed in text
    assert FoamSystem.objects.count() == 1


def test_same_name_is_free_again_once_the_other_system_is_retired(enter: Any, scene: Scene) -> None:
    old = FoamSystemFactory(site=scene.site, retired_on=date(2024, 1, 1))
    answer = enter("owner").post(
        f"/sites/{scene.site.key}/systems/new/", {**SYSTEM, "name": old.name}
    )
    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"minimum_flow": "1,900"}, "can be read in two ways; write 1900 or 1.900"),
        ({"minimum_flow": "fast"}, "“fast”"),
        ({"minimum_flow": ""}, "This field is required."),
        ({"minimum_flow_unit": "barrel"}, "“barrel” is not one of"),
        ({"required_minutes": "0"}, "must be above 0 minutes"),
        ({"commissioned_on": "30.4.2020"}, "Write the day as year, month and day"),
        ({"kind": "bucket"}, "bucket is not one of the available choices"),
        ({"criterion": "custom", "custom_lower": "3", "custom_upper": "2"}, "a higher upper"),
        ({"criterion": "custom", "custom_lower": "3.12345", "custom_upper": "4"}, "3 decimal"),
    ],
)
def test_wrong_entry_of_a_system_is_answered_with_what_would_be_right(
    enter: Any, scene: Scene, changed: dict[str, str], sentence: str
) -> None:
    answer = enter("owner").post(f"/sites/{scene.site.key}/systems/new/", {**SYSTEM, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert FoamSystem.objects.count() == 1


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ([point("minimum", "420"), point("half", "900")], "add the flow point “design”"),
        ([point("minimum", "2200"), point("design", "2100")], "at most the flow at “design”"),
        (
            [point("minimum", "420"), point("design", "2100"), point("Design", "2000")],
            "Two flow points are called “Design”",
        ),
        ([point("minimum", "420"), point("design", "")], "At which solution flow is “design”"),
        ([point("minimum", "420"), point("design", "0")], "above 0"),
        (
            [point("minimum", "420"), point("design", "2100"), point("", "900")],
            "Name this flow point",
        ),
    ],
)
def test_flow_points_are_refused_with_a_sentence_and_stay_in_their_rows(
    enter: Any, scene: Scene, rows: list[dict[str, str]], sentence: str
) -> None:
    answer = enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/", device(scene.tank, *rows)
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in text
    assert all(f'value="{row["flow"]}"' in text for row in rows if row["flow"])
    assert not Proportioner.objects.filter(tag="PR-9").exists()


def test_form_and_flow_points_say_what_is_wrong_at_once(enter: Any, scene: Scene) -> None:
    rows = point("minimum", "many"), point("design", "2100")
    answer = enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/",
        device(scene.tank, *rows, nominal_percent="three", tag=scene.proportioner.tag),
    )
    text = answer.content.decode()
    for sentence in ("“three”", "“many”", "already has a proportioner with that tag"):
        assert sentence in text


def test_site_page_keeps_the_stored_name_while_a_wrong_one_is_in_the_form(
    enter: Any, scene: Scene
) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Taken")
    answer = enter("owner").post(
        f"/sites/{scene.site.key}/edit/", {"name": "Taken", "time_zone": "Mars/Base"}
    )
    text = answer.content.decode()
    assert "You already have a site with that name." in text
    assert "“Mars/Base” is no time zone of the IANA list" in text.replace("&#x27;", "'")
    assert f"<h1>Change {scene.site.name}</h1>" in text
    assert 'value="Mars/Base"' in text


# Changing ----------------------------------------------------------------------------------------


def test_edit_shows_quantities_as_they_were_typed_and_saving_unchanged_notes_nothing(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/sites/{scene.site.key}/systems/new/"
    page.post(url, SYSTEM)
    system = FoamSystem.objects.get(name="Rack foam")
    text = page.get(f"/systems/{system.key}/edit/").content.decode()
    assert 'value="2 100"' in text
    assert 'value="10.5"' in text
    assert 'value="2020-04-30"' in text
    page.post(f"/systems/{system.key}/edit/", SYSTEM)
    assert Change.objects.filter(object_key=system.key).count() == 1
    page.post(f"/systems/{system.key}/edit/", {**SYSTEM, "design_flow": "2200"})
    change = Change.objects.filter(object_key=system.key, verb="changed").get()
    assert change.after["design_flow_typed"] == "2200 L/min"
    assert change.before["design_flow_typed"] == "2 100 L/min"


def test_corrected_commissioning_moves_the_first_duties(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    page.post(f"/systems/{scene.system.key}/proportioners/new/", device(scene.tank))
    page.post(
        f"/systems/{scene.system.key}/edit/",
        {**SYSTEM, "name": scene.system.name, "commissioned_on": "2019-02-28"},
    )
    made = Proportioner.objects.get(tag="PR-9")
    assert {duty.counts_from for duty in made.duties.filter(withdrawn_on=None)} == {
        date(2019, 2, 28)
    }


def test_flow_point_is_dropped_with_a_date_renamed_added_and_taken_back(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    row = scene.proportioner
    url = f"/proportioners/{row.key}/edit/"
    old = {one.name: one for one in row.flow_points.all()}
    keyed = [
        point(name, "600" if name == "minimum" else "1900", key=str(old[name].key))
        for name in ("minimum", "design")
    ]
    kept = {"kind": row.kind, "tag": row.tag, "flush_order": "a", "restoration_order": "b"}
    page.post(url, device(scene.tank, *keyed, point("half load", "950"), **kept))
    half = FlowPoint.objects.get(name="half load")
    gone = point("half load", "950", key=str(half.key), retired="on")
    page.post(url, device(scene.tank, *keyed, gone, **kept, **{"points-INITIAL_FORMS": "3"}))
    half.refresh_from_db()
    assert half.retired_on is not None
    first = half.retired_on
    page.post(url, device(scene.tank, *keyed, gone, **kept, **{"points-INITIAL_FORMS": "3"}))
    half.refresh_from_db()
    assert half.retired_on == first
    back = point("half load", "950", key=str(half.key))
    page.post(url, device(scene.tank, *keyed, back, **kept, **{"points-INITIAL_FORMS": "3"}))
    half.refresh_from_db()
    assert half.retired_on is None
    assert FlowPoint.objects.filter(proportioner=row).count() == 3


def test_flow_point_of_another_proportioner_is_not_found(enter: Any, scene: Scene) -> None:
    other = ProportionerFactory()
    rows = [point(p.name, "700", key=str(p.key)) for p in other.flow_points.all()]
    answer = enter("owner").post(
        f"/proportioners/{scene.proportioner.key}/edit/", device(scene.tank, *rows)
    )
    assert answer.status_code == 404
    assert {p.flow_typed for p in other.flow_points.all()} == {"600 L/min", "1900 L/min"}


def test_tank_of_another_site_is_no_choice(enter: Any, scene: Scene) -> None:
    elsewhere = TankFactory(site=SiteFactory(owner=scene.owner.organisation))
    answer = enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/", device(elsewhere)
    )
    assert answer.status_code == 422
    assert "Select a valid choice" in answer.content.decode()


def test_proportioner_on_a_site_without_a_tank_leads_to_the_tank(enter: Any, scene: Scene) -> None:
    system = FoamSystemFactory(site=SiteFactory(owner=scene.owner.organisation))
    answer = enter("owner").get(f"/systems/{system.key}/proportioners/new/", follow=True)
    assert answer.redirect_chain[-1][0] == f"/sites/{system.site.key}/tanks/new/"
    assert "draws from a tank" in answer.content.decode()


# Retiring ----------------------------------------------------------------------------------------


def test_retired_proportioner_leaves_the_list_with_a_date_and_undo_brings_it_back(
    enter: Any, scene: Scene
) -> None:
    page, key = enter("owner"), scene.proportioner.key
    answer = page.post(f"/proportioners/{key}/retire/", {"retired_on": "2026-01-31"})
    said = [*get_messages(answer.wsgi_request)][-1]
    assert said.extra_tags == f"/proportioners/{key}/take-back/"
    scene.proportioner.refresh_from_db()
    assert scene.proportioner.retired_on == date(2026, 1, 31)
    link = f'href="/proportioners/{key}/"'
    assert link not in page.get("/proportioners/").content.decode()
    assert link in page.get("/proportioners/?shown=retired").content.decode()
    assert "Retired since 31 Jan 2026" in page.get(f"/proportioners/{key}/").content.decode()
    page.post(f"/proportioners/{key}/take-back/")
    assert link in page.get("/proportioners/").content.decode()
    verbs = Change.objects.filter(object_key=key).values_list("verb", flat=True)
    assert list(verbs) == ["created", "retired", "taken back"]


@pytest.mark.parametrize("what", ["site", "system", "tank"])
def test_what_others_hang_on_is_not_retired_before_them(
    enter: Any, scene: Scene, what: str
) -> None:
    row = getattr(scene, what)
    answer = enter("owner").post(f"/{what}s/{row.key}/retire/", {"retired_on": "2026-01-31"})
    assert answer.status_code == 422
    assert "Still in use here: " in answer.content.decode()
    row.refresh_from_db()
    assert row.retired_on is None


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2999-01-01", "This day has not come yet."),
        ("2017-01-01", "was commissioned on 2018-03-01"),
    ],
)
def test_day_of_retiring_lies_between_commissioning_and_today(
    enter: Any, scene: Scene, day: str, sentence: str
) -> None:
    system = FoamSystemFactory(site=scene.site)
    answer = enter("owner").post(f"/systems/{system.key}/retire/", {"retired_on": day})
    assert sentence in answer.content.decode()
    assert f'value="{day}"' in answer.content.decode()
    system.refresh_from_db()
    assert system.retired_on is None


def test_taking_back_says_when_the_name_was_given_away(enter: Any, scene: Scene) -> None:
    old = FoamSystemFactory(site=scene.site, name=scene.system.name, retired_on=date(2024, 1, 1))
    answer = enter("owner").post(f"/systems/{old.key}/take-back/")
    assert answer.status_code == 422
    assert "already has a system with that name" in answer.content.decode()


def test_taking_back_waits_for_what_it_hangs_on(enter: Any, scene: Scene) -> None:
    site = SiteFactory(owner=scene.owner.organisation, retired_on=date(2025, 1, 1))
    system = FoamSystemFactory(site=site, retired_on=date(2025, 1, 1))
    answer = enter("owner").post(f"/systems/{system.key}/take-back/")
    assert "is retired since 2025-01-01; take that back first" in answer.content.decode()
    system.refresh_from_db()
    assert system.retired_on is not None


# Authorities and engagements ---------------------------------------------------------------------


def test_owner_names_an_authority_once_for_each_thing_it_looks_after(
    enter: Any, scene: Scene
) -> None:
    page, url = enter("owner"), f"/sites/{scene.site.key}/authorities/new/"
    office = OrganisationFactory(kind="authority", name="Water office")
    chosen = {"organisation": office.pk, "scope": "environment"}
    assert page.post(url, chosen).status_code == 302
    assert SiteAuthority.objects.filter(site=scene.site, organisation=office).count() == 1
    again = page.post(url, chosen)
    assert "already looks after environment here" in again.content.decode()
    contractor = OrganisationFactory(kind="contractor")
    wrong = page.post(url, {"organisation": contractor.pk, "scope": "fire"})
    assert "Select a valid choice" in wrong.content.decode()


def test_engagement_opens_a_site_and_its_last_day_closes_it(
    enter: Any, client: Client, sign_in: Any, scene: Scene
) -> None:
    page, site = enter("owner"), SiteFactory(owner=scene.owner.organisation)
    url = f"/sites/{site.key}/"
    assert sign_in(client, scene.contractor).get(url).status_code == 404
    page = sign_in(client, scene.owner)
    who = scene.contractor.organisation.pk
    page.post(f"{url}engagements/new/", {"organisation": who, "starts_on": "2020-01-01"})
    grant = Grant.objects.get(site=site)
    assert sign_in(client, scene.contractor).get(url).status_code == 200
    page = sign_in(client, scene.owner)
    twice = page.post(f"{url}engagements/new/", {"organisation": who, "starts_on": "2021-01-01"})
    assert "already engaged here from 2020-01-01" in twice.content.decode()
    wrong = page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2019-01-01"})
    assert "The last day is before the first day." in wrong.content.decode()
    page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2021-12-31"})
    assert "to 31 Dec 2021" in page.get(url).content.decode()
    assert sign_in(client, scene.contractor).get(url).status_code == 404
    sign_in(client, scene.owner).post(f"/engagements/{grant.key}/go-on/")
    assert sign_in(client, scene.contractor).get(url).status_code == 200


# Concentrate and instruments ---------------------------------------------------------------------


def test_lot_goes_into_a_tank_by_a_fill_that_can_be_put_right(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    page.post(
        "/lots/new/",
        {"product": "Invented SFFF", "kind": "sfff", "nominal_percent": "3", "batch": "K-7",
         "pfas": "free", "refractive_index": "1,3752", "density": "1 042.5", "ph": "7.9",
         "made_on": "2025-01-10", "expires_on": "2045-01-10"},
    )  # fmt: skip
    lot = ConcentrateLot.objects.get(batch="K-7")
    assert str(lot.refractive_index) == "1.37520"
    url = f"/tanks/{scene.tank.key}/fills/new/"
    entry = {"lot": lot.pk, "filled_on": "2025-03-01", "volume": "800", "volume_unit": "L"}
    page.post(url, entry)
    fill = TankFill.objects.get(lot=lot)
    assert fill.volume == pytest.approx(0.8, rel=1e-15)
    page.post(f"/fills/{fill.key}/edit/", {**entry, "volume": "820"})
    fill.refresh_from_db()
    assert fill.volume_typed == "820 L"
    assert "820 L" in page.get(f"/lots/{lot.key}/").content.decode()
    assert "820 L" in page.get(f"/tanks/{scene.tank.key}/").content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"volume": "1200"}, "The tank holds 1 m³; more does not go in at once."),
        ({"filled_on": "2999-01-01"}, "This day has not come yet."),
        ({"volume": "0"}, "The volume filled is above 0."),
    ],
)
def test_impossible_fill_is_refused(
    enter: Any, scene: Scene, changed: dict[str, str], sentence: str
) -> None:
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    entry = {"lot": lot.pk, "filled_on": "2025-03-01", "volume": "800", "volume_unit": "L"}
    answer = enter("owner").post(f"/tanks/{scene.tank.key}/fills/new/", {**entry, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_lot_of_another_owner_is_no_choice(enter: Any, scene: Scene) -> None:
    foreign = ConcentrateLotFactory()
    entry = {"lot": foreign.pk, "filled_on": "2025-03-01", "volume": "1", "volume_unit": "L"}
    answer = enter("owner").post(f"/tanks/{scene.tank.key}/fills/new/", entry)
    assert "Select a valid choice" in answer.content.decode()


def test_contractor_keeps_an_instrument(enter: Any, scene: Scene) -> None:
    page = enter("contractor")
    entry = {"name": "Bench meter", "serial_number": "77", "method": "conductivity",
             "unit": "", "resolution": "0,01", "repeatability": ""}  # fmt: skip
    wrong = page.post("/instruments/new/", entry)
    assert "The unit does not fit" in wrong.content.decode()
    page.post("/instruments/new/", {**entry, "unit": "mS/cm"})
    row = Instrument.objects.get(serial_number="77")
    assert row.organisation == scene.contractor.organisation
    page.post(f"/instruments/{row.key}/edit/", {**entry, "unit": "mS/cm", "name": "Other name"})
    page.post(f"/instruments/{row.key}/retire/", {"retired_on": "2026-01-01"})
    link = f'href="/instruments/{row.key}/"'
    assert link not in page.get("/instruments/").content.decode()
    assert link in page.get("/instruments/?shown=all").content.decode()


# Lists -------------------------------------------------------------------------------------------


def test_list_is_found_by_name_sorted_and_paged_by_its_address(enter: Any, scene: Scene) -> None:
    owner = scene.owner.organisation
    for number in range(27):
        SiteFactory(owner=owner, name=f"Depot {number:02}", country="Spain")
    page = enter("owner")
    first = page.get("/sites/?find=depot&sort=-name").content.decode()
    assert first.index("Depot 26") < first.index("Depot 25")
    assert "Depot 01" not in first
    assert "Page <span" in first
    second = page.get("/sites/?find=depot&sort=-name&page=2").content.decode()
    assert "Depot 01" in second
    assert "Depot 02" not in second
    assert "find=depot&amp;sort=-name" in second
    none = page.get("/sites/?find=nothing").content.decode()
    assert "Nothing here fits what you asked for: “nothing”." in none
    assert page.get("/sites/?sort=password&page=x&shown=y").status_code == 200


@pytest.mark.parametrize(
    ("who", "url", "sentence", "step"),
    [
        ("owner", "/sites/", "No site yet.", "/sites/new/"),
        ("owner", "/lots/", "No lot yet.", "/lots/new/"),
        ("contractor", "/sites/", "No owner has your organisation engaged today.", ""),
        ("contractor", "/instruments/", "No instrument yet.", "/instruments/new/"),
        ("authority", "/sites/", "No owner has named your authority", ""),
        ("authority", "/systems/", "No foam system yet.", ""),
    ],
)
def test_empty_list_says_why_and_what_to_do_next(
    client: Client, sign_in: Any, db: None, who: str, url: str, sentence: str, step: str
) -> None:
    page = sign_in(client, actor_of(OrganisationFactory(kind=who)))
    text = page.get(url).content.decode()
    assert sentence in text
    assert not step or f'href="{step}"' in text


def grow(scene: Scene, count: int) -> None:
    owner = scene.owner.organisation
    for number in range(count):
        site = SiteFactory(owner=owner)
        tank = TankFactory(site=site)
        lot = ConcentrateLotFactory(owner=owner)
        TankFillFactory(tank=tank, lot=lot)
        TankFillFactory(tank=scene.tank, lot=lot)
        ProportionerFactory(system=FoamSystemFactory(site=site), tank=tank)
        ProportionerFactory(
            system=FoamSystemFactory(site=scene.site), tank=TankFactory(site=scene.site)
        )
        GrantFactory(site=scene.site, starts_on=date(2010, 1, 1 + number % 28))
        InstrumentFactory(organisation=scene.contractor.organisation)


# Session, person, membership and its organisation are the first three of each.
BUDGET = {
    "/sites/": 5,
    "/systems/": 5,
    "/proportioners/": 5,
    "/tanks/": 6,
    "/lots/": 5,
    "/sites/{site}/": 16,
    "/systems/{system}/": 9,
    "/tanks/{tank}/": 6,
    "/proportioners/{proportioner}/": 8,
}


@pytest.mark.parametrize("url", BUDGET)
def test_page_asks_the_database_the_same_number_of_times_at_3_and_at_30_rows(
    enter: Any, scene: Scene, url: str, django_assert_num_queries: Any
) -> None:
    page, most = enter("owner"), BUDGET[url]
    url = url.format(
        **{name: getattr(scene, name).key for name in ("site", "system", "tank", "proportioner")}
    )
    grow(scene, 2)
    with django_assert_num_queries(most):
        page.get(url)
    grow(scene, 27)
    with django_assert_num_queries(most):
        assert page.get(url).status_code == 200
