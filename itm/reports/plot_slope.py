"""One slope with its interval, small enough for a cell, on a scale that all rows share."""

from itm.reports import plot_svg as svg

WIDTH, HEIGHT, EDGE = 150, 24, 8


def slope_mark(
    slope: float, low: float | None, high: float | None, *, reach: float, title: str
) -> str:
    """SVG text. `reach`: the value at both edges, unit of the slope; what lies beyond is cut there
    with an open end. A stroke at zero, so that an interval that holds it is seen to."""

    def at(value: float) -> float:
        share = max(-1.0, min(1.0, value / reach)) if reach > 0 else 0.0
        return WIDTH / 2 + share * (WIDTH / 2 - EDGE)

    middle = HEIGHT / 2
    zero = ((at(0), 2.0), (at(0), HEIGHT - 2.0))
    strokes = []
    if low is not None and high is not None:
        strokes.append(((at(low), middle), (at(high), middle)))
        strokes += [
            ((at(end), middle - 4), (at(end), middle + 4))
            for end in (low, high)
            if abs(end) <= reach
        ]
    return svg.picture(
        WIDTH,
        HEIGHT,
        title,
        [
            svg.segments([zero], kind="plot-axis", stroke=svg.AXIS, width=1.2),
            svg.segments(strokes, kind="plot-ink", stroke=svg.INK, width=1.4),
            svg.disc(at(slope), middle, 4.2, hollow=low is None or high is None),
        ],
    )
