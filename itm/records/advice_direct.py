"""What a crew could do about an undecided direct result, the cheapest first."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from calc.direct_form import DRAW_DOWN, DRAWN, OTHER_LIQUID, WEIGHED

LONGER = (2, 3, 5)  # times as long; longer nobody discharges, own choice
BETTER = (2, 4)  # times as good a meter; better ones nobody carries, own choice
# Of what left a vessel: its step, and what was read before and after.
RUN_OF = {
    DRAW_DOWN: ("level_step", "level_before", "level_after"),
    WEIGHED: ("scale_step", "mass_before", "mass_after"),
}
IN_WORDS = {2: "twice", 3: "three times", 4: "four times", 5: "five times"}


@dataclass(frozen=True)
class Step:
    """Something the crew could do, in words, and the test as it would then be."""

    words: str
    inputs: dict[str, Any]


def direct_steps(inputs: dict[str, Any], name: str) -> list[Step]:
    """Longer runs of what sinks or gets lighter, then a better density, then better meters, as far
    as they are in today's hands."""
    steps = []
    if inputs["method"] in DRAWN:
        step, *read = RUN_OF[inputs["method"]]
        steps = [
            Step(
                f"a run {IN_WORDS[n]} as long at this flow point, if the flow stays.",
                # So much more volume and time makes each step weigh so much less.
                _at(inputs, name, _shared(n, (*read, "seconds"))) | {step: inputs[step] / n},
            )
            for n in LONGER
        ]
    if inputs["method"] == WEIGHED:
        known = inputs["density"]
        steps += [
            Step(
                f"a density of the concentrate known {IN_WORDS[n]} as well.",
                inputs
                | {"density": known | {"standard_uncertainty": known["standard_uncertainty"] / n}},
            )
            for n in BETTER
        ]
    flows = {
        DRAW_DOWN: ("solution_flow",),
        WEIGHED: ("solution_flow",),
        OTHER_LIQUID: ("liquid_flow", "second_flow"),
    }.get(inputs["method"], ("concentrate_flow", "second_flow"))
    what = "a solution flow" if len(flows) == 1 else "both flows"
    return [
        *steps,
        *(
            Step(
                f"{what} measured {IN_WORDS[n]} as well at this flow point.",
                _at(inputs, name, _shared(n, flows)),
            )
            for n in BETTER
        ),
    ]


def _shared(n: int, names: tuple[str, ...]) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Readings whose uncertainty weighs only an nth: of n times the volume and time, or by a meter
    n times as good."""

    def changed(point: dict[str, Any]) -> dict[str, Any]:
        better = {
            key: {**point[key], "standard_uncertainty": point[key]["standard_uncertainty"] / n}
            for key in names
        }
        return {**point, **better}

    return changed


def _at(
    inputs: dict[str, Any], name: str, change: Callable[[dict[str, Any]], dict[str, Any]]
) -> dict[str, Any]:
    points = [change(p) if p["name"] == name else p for p in inputs["flow_points"]]
    return {**inputs, "flow_points": points}
