"""What a plot over the years calls its things: of a flow point, or of a property of a tank."""

from dataclasses import dataclass


@dataclass(frozen=True)
class PlotWords:
    """What the drawing calls its things; `sides` are the words for in band, lean and rich."""

    axis: str = "concentrate, % by volume"
    band: str = "acceptance band"
    baseline: str = "acceptance test"
    sides: tuple[str, str, str] = ("in band", "lean", "rich")

    def side(self, limits: str) -> str:
        return dict(zip(PERCENT.sides, self.sides, strict=True))[limits]


PERCENT = PlotWords()
