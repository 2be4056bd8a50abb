"""Reference solutions of a conductivity meter. Published values stand in published/."""

import numpy as np
import pytest

from calc.chloride import chloride_conductivity, weighed_chloride_conductivity
from calc.errors import CalcError
from calc.water import water_density

MOLAR_MASS = 74.5513  # g/mol of KCl, IUPAC standard atomic weights (from memory)
VOLUME_IN_WATER = 27.0  # mL/mol of KCl in weak solutions at 20 °C, handbooks (from memory)


def test_solution_between_the_printed_temperatures():
    # CRC Handbook, section 5 (check values C-01, C-02): 18 °C is not among the nodes.
    assert chloride_conductivity(0.01, 18) == pytest.approx(0.121993, rel=3e-5)
    assert chloride_conductivity(0.1, 18) == pytest.approx(1.11406, rel=3e-5)


@pytest.mark.parametrize(("grams", "molality"), [(0.7440, 0.01), (7.4365, 0.1)])
def test_mass_in_a_litre_and_moles_in_a_kilogram_say_the_same(grams, molality):
    # Two publications of one liquid: 0.7440 g/L are 0.0100 mol/kg and 7.4365 g/L are 0.1002. As
    # strong as that, conductivity follows the molality by the power 0.95 (C-01 against C-02).
    moles = grams / MOLAR_MASS
    water = water_density(20) / 1000 - moles * VOLUME_IN_WATER / 1000
    expected = chloride_conductivity(molality, [15, 18, 20, 23, 25])
    expected = expected * (moles / water / molality) ** 0.95
    found = weighed_chloride_conductivity(grams, [15, 18, 20, 23, 25])
    assert found == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("grams", [0.7440, 7.4365, 74.2460])
def test_it_rises_all_the_way_from_the_ice_point(grams):
    assert (np.diff(weighed_chloride_conductivity(grams, np.linspace(0, 25, 251))) > 0).all()


def test_water_of_the_solution_adds_its_own():
    plain = weighed_chloride_conductivity(0.7440, 25)
    assert weighed_chloride_conductivity(0.7440, 25, 1.10e-4) == pytest.approx(plain + 1.10e-4)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: chloride_conductivity(0.02, 20), "unknown_choice", "molality"),
        (lambda: chloride_conductivity(0.01, 10), "out_of_range", "temperature_c"),
        (lambda: weighed_chloride_conductivity(7.45, 20), "unknown_choice", "grams_per_litre"),
        (lambda: weighed_chloride_conductivity(0.7440, 26), "out_of_range", "temperature_c"),
        (
            lambda: weighed_chloride_conductivity(0.744, 20, -1),
            "out_of_range",
            "water_conductivity",
        ),
        (lambda: weighed_chloride_conductivity(0.744, "cold"), "not_a_number", "temperature_c"),
    ],
)
def test_other_solutions_are_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; " in str(refused.value)
