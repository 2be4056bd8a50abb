"""Results of past years that are possible and odd are asked about, and taken in all the same.

The bounds are our own choice: no published source says how far from its nominal a result may lie.
"""

from itm.doors.files import take_up
from itm.intake.odd_results import MOST
from tests.factories import ProportionerFactory
from tests.itm.intake.imports import handed_in, told

HEAD = "site;proportioner;flow_point;tested_on;percent;flow"


def looked_at(scene, *lines: str, tag: str = ""):
    tag = tag or scene.proportioner.tag
    text = "\n".join([HEAD, *(f"{scene.site.name};{tag};{line}" for line in lines)])
    row = handed_in(scene.owner, "history", text + "\n")
    return row, {one["place"]: one["sentence"] for one in row.findings.get("asked", [])}


def test_what_lies_where_results_lie_is_not_asked_about(scene):
    row, asked = looked_at(
        scene, "design;2019-05-14;1.5;1900 L/min", "design;2020-05-14;6;950 L/min",
        "minimum;2018-03-01;3.1;1200 L/min", "minimum;2020-05-14;2.9;",
    )  # fmt: skip
    assert (row.state, asked) == ("ready", {})


def test_percents_far_from_the_nominal_are_asked_about_and_come_in(scene):
    row, asked = looked_at(
        scene, "design;2019-05-14;31.2;", "minimum;2019-05-14;0;", "design;2020-05-14;100;"
    )
    assert (row.state, told(row)) == ("ready", [])
    assert asked.keys() == {"E2", "E3"}
    assert "31.2 % at design" in asked["E2"]
    assert "nominal is 3 %" in asked["E2"]
    assert asked["E2"].endswith("So in 2 rows.")
    assert "nothing proportioned" in asked["E3"]
    assert take_up(actor=scene.owner, row=row, at=row.added_at).state == "done"


def test_flows_far_off_their_point_are_asked_about(scene):
    _, asked = looked_at(
        scene, "design;2019-05-14;3;1.1 L/min", "minimum;2019-05-14;3;1100000 L/min"
    )
    assert asked.keys() == {"F2", "F3"}
    assert "1.1 L/min at design" in asked["F2"]
    assert "tested at 1900 L/min" in asked["F2"]
    assert "tested at 600 L/min" in asked["F3"]


def test_tests_before_the_system_was_commissioned_are_asked_about(scene):
    row, asked = looked_at(scene, "design;2018-02-28;3;", "design;1999-05-14;3.1;")
    assert row.state == "ready"
    assert asked.keys() == {"D2"}
    assert "commissioned on 1 Mar 2018" in asked["D2"]
    assert asked["D2"].endswith("So in 2 rows.")


def test_many_odd_devices_are_counted(scene):
    tags = [ProportionerFactory(system=scene.system, tank=scene.tank).tag for _ in range(MOST + 2)]
    text = "\n".join([HEAD, *(f"{scene.site.name};{one};design;2019-05-14;31;" for one in tags)])
    asked = handed_in(scene.owner, "history", text + "\n").findings["asked"]
    assert len(asked) == MOST + 1
    assert asked[-1]["sentence"].startswith("2 more flow points")
