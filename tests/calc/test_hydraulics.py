"""Flow by pitot and by K-factor. Published values stand in published/test_flows.py."""

import math

import numpy as np
import pytest

from calc.errors import CalcError
from calc.hydraulics import SMOOTH, Outlet, k_factor_si, k_flow, outlets_flow, pitot_flow
from calc.units import FLOW, PSI

HOSE = Outlet(0.0635, SMOOTH, 172e3)


def test_flow_of_several_outlets_is_their_sum():
    monitor = Outlet(0.04445, 0.97, 276e3)
    both = outlets_flow([HOSE, monitor])
    single = pitot_flow(0.0635, 0.90, 172e3) + pitot_flow(0.04445, 0.97, 276e3)
    assert both.flow == pytest.approx(single, rel=1e-15)
    assert outlets_flow([HOSE]).u_flow == 0


def test_one_gauge_errs_the_same_way_at_every_outlet():
    unsure = Outlet(0.0635, 0.9, 172e3, u_pressure=10e3)
    four = [unsure] * 4
    shared, apart = outlets_flow(four), outlets_flow(four, gauge_shared=False)
    assert shared.u_flow == pytest.approx(2 * apart.u_flow)


def test_parts_of_one_outlet_add_as_squares():
    outlet = Outlet(0.05, 0.9, 200e3, u_diameter=0.0005, u_coefficient=0.018, u_pressure=8e3)
    result = outlets_flow([outlet])
    assert result.u_flow / result.flow == pytest.approx(math.sqrt(0.02**2 + 0.02**2 + 0.02**2))


def test_closed_outlet_gives_no_flow_and_no_uncertainty():
    result = outlets_flow([Outlet(0.05, 0.9, 0.0, u_pressure=1e3)])
    assert (result.flow, result.u_flow) == (0.0, 0.0)


def test_arrays_of_pressure_give_arrays_of_flow():
    flows = pitot_flow(0.0635, 0.9, [0.0, 100e3, 400e3])
    assert flows[0] == 0
    assert flows[2] == pytest.approx(2 * flows[1])


def test_k_factor_of_one_unit_is_that_flow_at_that_pressure():
    k = k_factor_si(5.6, "US gpm", "psi")
    assert k_flow(k, PSI) / FLOW["US gpm"] == pytest.approx(5.6)
    assert k_flow(k, np.array([4.0, 9.0]) * PSI) / FLOW["US gpm"] == pytest.approx([11.2, 16.8])


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: pitot_flow(0, 0.9, 1e5), "out_of_range", "diameter"),
        (lambda: pitot_flow(0.06, 1.2, 1e5), "out_of_range", "coefficient"),
        (lambda: pitot_flow(0.06, 0.9, [1e5, -1.0]), "out_of_range", "pressure"),
        (lambda: pitot_flow(2.5, 0.9, 1e5), "out_of_range", "diameter"),  # typed in inches
        (lambda: pitot_flow(0.06, 0.9, 1e5, 1.0), "out_of_range", "density"),  # kg/L
        (lambda: k_flow(1e300, 1e5), "out_of_range", "k_factor"),
        (lambda: outlets_flow([]), "empty_list", "outlets"),
        (lambda: outlets_flow([Outlet(0.06, 0.9, 1e5, u_diameter=-1)]), "out_of_range", None),
        (lambda: k_flow(0, 1e5), "out_of_range", "k_factor"),
        (lambda: k_factor_si(80, "gpm"), "unknown_choice", "flow_unit"),
        (lambda: k_factor_si(80, "L/min", "atm"), "unknown_choice", "pressure_unit"),
    ],
)
def test_impossible_outlet_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert refused.value.code == code
    assert refused.value.where == (where or "u_diameter")
    assert "; give " in str(refused.value)
