"""Readings of one scale under the name of another: 4.2 as an index, 1.3391 as Brix."""

from calc.errors import Warned
from calc.form import Bench

# Index of anything on the bench, water at 40 °C to the thickest concentrate; own choice about the
# published water index (IAPWS R9-97) and the end of the sucrose table, 1.5033 at 85 % Brix.
LEAST_INDEX, MOST_INDEX = 1.32, 1.51  # -
MOST_WATER_BRIX = 10.0  # % Brix, own choice: no water of a test reads so high


def on_scale(bench: Bench) -> list[Warned]:
    """Warn when the readings cannot belong to the scale that they are said to be of.

    Asked about, never converted: only the person at the meter knows. It leaves everything open.

    Source: own choice about IAPWS R9-97 and the sucrose table. Check: tests/calc/test_scales.py.
    """
    means = {bottle.where: bottle.mean for bottle in bench.bottles}
    if bench.method == "refractive_index":
        wrong = [where for where, mean in means.items() if not LEAST_INDEX <= mean <= MOST_INDEX]
        return [Warned("not_an_index", where, {"mean": means[where]}) for where in wrong]
    if bench.method != "brix":
        return []
    if all(LEAST_INDEX <= mean <= MOST_INDEX for mean in means.values()):
        return [Warned("index_as_brix", bench.water.where, {"mean": bench.water.mean})]
    if bench.water.mean > MOST_WATER_BRIX:
        return [Warned("not_brix", bench.water.where, {"mean": bench.water.mean})]
    return []
