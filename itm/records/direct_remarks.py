"""What experience says about a direct measurement while the run can still be prolonged."""

from calc.direct import (
    IN_SOLUTION,
    moved_enough,
    seconds_more,
    seconds_to_move,
    seconds_to_weigh,
)
from calc.direct_form import DRAW_DOWN, WEIGHED
from calc.vessels import height
from itm.core.durations import in_words
from itm.records.direct_inputs import vessel_of
from itm.records.evaluate import flow_of
from itm.records.models import DirectRun, DirectSetup, FlowRun
from itm.records.models.density import DensityFrom
from itm.registry.contents import Contents


def direct_remarks(setup: DirectSetup, run: FlowRun) -> list[str]:
    """On the measurements of one flow point; they refuse nothing."""
    row, out = run.direct, []
    if DirectRun.Source.NAMEPLATE in (row.concentrate_source, row.second_source):
        out.append("A flow from the nameplate was not measured: it is no evidence of a percent.")
    if setup.test.method == DRAW_DOWN:
        out += _on_level(setup, run)
    elif setup.test.method == WEIGHED:
        out += _on_weight(setup, run)
    elif setup.meter_in == IN_SOLUTION and row.concentrate_flow and run.solution_flow:
        share = 100 * row.concentrate_flow / run.solution_flow
        nominal = float(setup.test.nominal_percent)  # 3 and not 3.000, as a Decimal would write it
        if share > 3 * nominal:
            out.append(
                f"That is {share:.3g} % of the solution where {nominal:g} % is nominal: look at "
                "the units, and whether a totaliser was read as a flow."
            )
    return out


def density_remarks(setup: DirectSetup, held: Contents) -> list[str]:
    """The density that turns a weight into a volume, beside the certificates of what stands in the
    tank that day: a slip in it moves every percent alike, and no reading shows it."""
    typed, certified = setup.density, held.density
    if setup.test.method != WEIGHED or typed is None:
        return []
    said = []
    if setup.density_from == DensityFrom.DATA_SHEET:
        said = [f"The density {setup.density_typed} is that of a data sheet and not of this lot."]
    if certified is None:
        if setup.density_from != DensityFrom.CERTIFICATE:
            return said
        return [
            "The density is said to come from the certificate of the lot, and the register has "
            "none for all that stands in the tank: nobody can hold one against the other."
        ]
    apart = typed - certified
    if abs(apart) <= (setup.density_error or 0):
        return said
    side, way = ("above", "higher") if apart > 0 else ("below", "lower")
    error = setup.density_error_typed
    beyond = f" and more than the {error} that it may be off" if error else ""
    return [
        *said,
        f"The density {setup.density_typed} is {abs(apart):.1f} kg/m³ {side} what the certificates "
        f"of the tank's lots give ({certified:.1f} kg/m³ at 20 °C){beyond}. By the certificates "
        f"every percent would be {abs(100 * apart / certified):.1f} % of itself {way}: find out "
        "which density is of this liquid, as warm as it is.",
    ]


def _on_level(setup: DirectSetup, run: FlowRun) -> list[str]:
    """How long to run, before it runs and while it does."""
    vessel, step, row = vessel_of(setup), setup.level_step, run.direct
    before, after, taken = row.level_before, row.level_after, row.duration
    if vessel is None or step is None or before is None or not 0 < before <= height(vessel):
        return []
    if after is not None and taken is not None:
        if moved_enough(before, after, step):
            return []
        more = in_words(round(seconds_more(before - after, taken, step)))
        return [
            f"The level sank by less than ten steps of its scale: run about {more} longer at this "
            "flow, read the level again and write the whole time (ten steps: common practice)."
        ]
    drawn = flow_of(run) * float(setup.test.nominal_percent) / 100
    needed = in_words(round(seconds_to_move(vessel, before, step, drawn)))
    return [
        f"At {run.solution_flow_typed or run.flow_point.flow_typed} and nominal percent the level "
        f"sinks by ten steps of its scale in about {needed}: run at least so long (common "
        "practice)."
    ]


def _on_weight(setup: DirectSetup, run: FlowRun) -> list[str]:
    """The same of a tank or drum on a scale."""
    step, density, row = setup.scale_step, setup.density, run.direct
    before, after, taken = row.mass_before, row.mass_after, row.duration
    if step is None or before is None or before <= 0:
        return []
    if after is not None and taken is not None:
        if moved_enough(before, after, step):
            return []
        more = in_words(round(seconds_more(before - after, taken, step)))
        return [
            f"The scale went down by less than ten of its steps: run about {more} longer at this "
            "flow, weigh again and write the whole time (ten steps: common practice)."
        ]
    if density is None:
        return []
    drawn = flow_of(run) * float(setup.test.nominal_percent) / 100
    needed = in_words(round(seconds_to_weigh(step, density, drawn)))
    return [
        f"At {run.solution_flow_typed or run.flow_point.flow_typed} and nominal percent the scale "
        f"goes down by ten of its steps in about {needed}: run at least so long (common practice)."
    ]
