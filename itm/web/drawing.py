"""Plots of a page and of its sheet: one drawing, made for each width at which it is shown."""

from collections.abc import Mapping

from itm.reports.plot import TrendSeries, trend_plot

# A shrunk drawing can't be read on a phone; paper takes the one of the desk.
DESK, PHONE = 640, 350
Widths = Mapping[str, int]
PAGE_WIDTHS: Widths = {"wide": DESK, "narrow": PHONE}
SHEET_WIDTHS: Widths = {"wide": DESK}


def drawn_in(series: TrendSeries, widths: Widths) -> dict[str, str]:
    """SVG text by name of the width, as `parts/figure.html` takes it."""
    return {name: trend_plot(series, width=width) for name, width in widths.items()}
