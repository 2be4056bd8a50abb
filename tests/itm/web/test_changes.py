"""Changing what is there: history, duties and flow points follow."""

from datetime import date
from typing import Any

from itm.core.history import Change
from itm.registry.models import (
    FlowPoint,
    FoamSystem,
    Proportioner,
)
from tests.conftest import Scene
from tests.factories import (
    FoamSystemFactory,
    ProportionerFactory,
    SiteFactory,
    TankFactory,
)
from tests.itm.web.entries import SYSTEM, device, point


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
