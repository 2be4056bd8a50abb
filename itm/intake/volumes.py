"""Odd volumes of a standard, asked about while the glassware still stands there."""

from decimal import Decimal

from itm.records.bench_sheet import Stand

FAR = 0.1  # of the percent wanted, own choice


def volume_doubt(stand: Stand, batch_ml: Decimal) -> str:
    """A question, or nothing: 3 mL added to 100 mL of water is 2.91 %, not 3 %."""
    bottle, made = stand.bottle, stand.percent
    if made is None or not bottle.target_percent or stand.recipe is None:
        return ""
    wanted = float(bottle.target_percent)
    if bottle.water_ml == batch_ml and bottle.concentrate_ml:
        return (
            f"{bottle.water_ml_typed} mL is the whole batch: was the concentrate added to it "
            f"instead of filling up to the mark? As written this is {made:.2f} %, which is fine "
            "if it is what was poured."
        )
    if abs(made - wanted) > FAR * wanted:
        return (
            f"As written this is {made:.2f} %, not near {wanted:g} %. Fine if it is what was "
            "poured; else correct it."
        )
    return ""
