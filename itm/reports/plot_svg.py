"""SVG as text: the few elements that the plots use.

Looks are presentation attributes, so that a PDF needs no stylesheet and the content policy has
nothing to refuse; the class names only let a dark page change the colours. Nothing is defined
once and referred to by id, because one page may hold several plots. Coordinates have one decimal
and attributes a fixed order, so that equal input gives equal bytes.
"""

from collections.abc import Sequence
from html import escape

INK = "#1d2b36"
SOFT = "#4a5a66"
GRID = "#e3eaed"
AXIS = "#8fa0a9"
HATCH = "#8fb8aa"
BLUE = "#0b5a7a"
PAPER = "#ffffff"

TEXT_FACE = "'Itm Text', 'Itm Signs', sans-serif"
NUMBER_FACE = "'Itm Mono', 'Itm Signs', monospace"

Point = tuple[float, float]


def px(value: float) -> str:
    """A coordinate with one decimal; minus zero is zero, or equal plots would differ in a byte."""
    return f"{round(value, 1) + 0.0:.1f}"


def picture(width: int, height: int, title: str, parts: Sequence[str]) -> str:
    """The whole picture. The title comes first: readers and PDF take it for the alternative."""
    size = f'width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
    body = "\n".join(part for part in parts if part)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img">'
        f"<title>{escape(title)}</title>\n{body}\n</svg>"
    )


def segments(
    lines: Sequence[tuple[Point, Point]], *, kind: str, stroke: str, width: float, dash: str = ""
) -> str:
    """Any number of straight strokes of one kind as one path."""
    if not lines:
        return ""
    path = "".join(f"M{px(a)} {px(b)}L{px(c)} {px(d)}" for (a, b), (c, d) in lines)
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path class="{kind}" d="{path}" fill="none" stroke="{stroke}" '
        f'stroke-width="{width}"{dashes}/>'
    )


def shape(points: Sequence[Point], *, hollow: bool, dash: str = "") -> str:
    """A closed mark: filled with ink, or outlined when hollow."""
    path = "M" + "L".join(f"{px(x)} {px(y)}" for x, y in points) + "Z"
    return f'<path {looks(hollow, dash)} d="{path}"/>'


def disc(x: float, y: float, radius: float, *, hollow: bool) -> str:
    return f'<circle {looks(hollow)} cx="{px(x)}" cy="{px(y)}" r="{px(radius)}"/>'


def looks(hollow: bool, dash: str = "") -> str:
    if not hollow:
        return f'class="plot-solid" fill="{INK}"'
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'class="plot-open" fill="{PAPER}" stroke="{INK}" stroke-width="1.8"{dashes}'


def veil(left: float, top: float, right: float, bottom: float) -> str:
    """Paper behind a label, so that hatching and drop lines do not run through its letters."""
    return (
        f'<rect class="plot-paper" x="{px(left)}" y="{px(top)}" width="{px(right - left)}" '
        f'height="{px(bottom - top)}" fill="{PAPER}" fill-opacity="0.85"/>'
    )


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    anchor: str = "start",
    number: bool = False,
    bold: bool = False,
    soft: bool = False,
) -> str:
    face = NUMBER_FACE if number else TEXT_FACE
    weight = ' font-weight="600"' if bold else ""
    kind, fill = ("plot-soft", SOFT) if soft else ("plot-text", INK)
    return (
        f'<text class="{kind}" x="{px(x)}" y="{px(y)}" font-family="{face}" font-size="{size:g}" '
        f'text-anchor="{anchor}" fill="{fill}"{weight}>{escape(words)}</text>'
    )


def hatch(left: float, top: float, right: float, bottom: float, *, every: float = 7) -> str:
    """Diagonal strokes that fill a rectangle, worked out stroke by stroke.

    A pattern would need an id, and a pattern inside the picture that a narrow page hides is not
    painted in the one that it shows. All strokes lie on x + y = k · every: neighbours join.
    """
    strokes = []
    k = int((left + top) // every) + 1
    while k * every < right + bottom:
        total = k * every
        a, b = max(left, total - bottom), min(right, total - top)
        if b - a > 0.5:
            strokes.append(((a, total - a), (b, total - b)))
        k += 1
    return segments(strokes, kind="plot-hatch", stroke=HATCH, width=1.2)
