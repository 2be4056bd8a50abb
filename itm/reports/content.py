"""The content of a report, all of it text: built from the sealed document and nothing else."""

from dataclasses import dataclass
from typing import Any, ClassVar

from itm.core.figures import day
from itm.reports import content_bench as bench
from itm.reports import content_day as test_day
from itm.reports import content_direct as direct
from itm.reports import content_kept as kept
from itm.reports import content_results as results
from itm.reports.content_statements import TwoStatements, two_statements
from itm.reports.curve import curve
from itm.reports.plot import calibration_plot
from itm.reports.wording import Fact, SiteClock

WIDE, NARROW = 640, 340


@dataclass(frozen=True)
class Figure:
    """The plot in the two widths that parts/figure.html takes."""

    wide: str
    narrow: str
    caption: str


@dataclass(frozen=True)
class DirectPaper:
    """What stands on the paper of a direct test in the place of its bench."""

    notes: tuple[str, ...]
    points: tuple[direct.MeasuredPoint, ...]


@dataclass(frozen=True)
class Paper:
    """Everything that stands on a report, in the order in which it stands there."""

    template: ClassVar[str] = "report/report.html"
    kind: ClassVar[str] = "Proportioning test report"
    title: str
    site: str
    system: str
    proportioner: str
    contractor: str
    tested_on: str
    occasion: str
    zone: str
    number: str
    amends: kept.Amendment | None
    left_out: str
    answers: tuple[results.Answer, ...]
    band: str
    rule: tuple[str, ...]
    supply_basis: str
    warnings: tuple[results.WarningLine, ...]
    two: TwoStatements | None
    direct: DirectPaper | None
    figure: Figure | None  # of a direct test there is no line
    line: str
    fit: str
    standards: tuple[bench.StandardLine, ...]
    samples: tuple[results.SampleLine, ...]
    place: tuple[Fact, ...]
    device: tuple[Fact, ...]
    day: tuple[Fact, ...]
    runs: tuple[test_day.RunLine, ...]
    flush: tuple[test_day.DoneLine, ...]
    restoration: tuple[test_day.DoneLine, ...]
    impairment: tuple[Fact, ...]
    notices: tuple[test_day.DoneLine, ...]
    instrument: tuple[Fact, ...]
    preparation: tuple[Fact, ...]
    readings: tuple[bench.ReadingLine, ...]
    readings_count: str
    moves: tuple[kept.MoveLine, ...]
    handed_in: tuple[Fact, ...]
    signed: tuple[Fact, ...]
    digest: str
    previous: str
    engine_version: str
    inputs_digest: str
    verify_url: str
    qr: str
    cautions: tuple[str, ...]
    foot: str
    sealed_at: str  # ISO 8601, for the file's own dates
    signed_for: str


def paper(document: dict[str, Any], *, digest: str, verify_url: str) -> Paper:
    """The report of a document in any of its canonical forms."""
    clock = SiteClock.of(document)
    seal = document["seal"]
    by_bench = not direct.is_direct(document)
    readings = bench.readings(document, clock) if by_bench else ()
    where = (document["site"]["name"], document["proportioner"]["tag"], day(clock.tested_on))
    return Paper(
        title=f"Proportioning test: {', '.join(where)}",
        site=document["site"]["name"],
        system=document["system"]["name"],
        proportioner=document["proportioner"]["tag"],
        contractor=document["visit"]["contractor"],
        tested_on=day(clock.tested_on),
        occasion=f"{document['test']['purpose']}, {document['test']['phase']}",
        zone=document["site"]["time_zone"],
        number=str(seal["number"]),
        amends=kept.amendment(document),
        left_out=test_day.left_out(document),
        answers=results.answers(document),
        band=results.band_words(document),
        rule=results.rule(document),
        supply_basis=results.supply_basis(document),
        two=two_statements(document),
        warnings=(*bench.remarks(document, clock), *results.warnings(document)),
        direct=None if by_bench else _direct(document),
        figure=_figure(document) if by_bench else None,
        line=bench.line_words(document) if by_bench else "",
        fit=bench.fit_words(document) if by_bench else "",
        standards=bench.standards(document) if by_bench else (),
        samples=results.samples(document, clock),
        place=test_day.place(document),
        device=test_day.device(document),
        day=test_day.occasion(document),
        runs=test_day.runs(document, clock),
        flush=test_day.flush(document, clock),
        restoration=test_day.restoration(document, clock),
        impairment=test_day.impairment(document, clock),
        notices=test_day.notices(document, clock),
        instrument=bench.instrument(document, clock)
        if by_bench
        else direct.measured_with(document),
        preparation=bench.preparation(document) if by_bench else (),
        readings=readings,
        readings_count=bench.aside_count(readings),
        moves=kept.moves(document, clock),
        handed_in=kept.handed_in(document, clock),
        signed=kept.signed(document, clock),
        digest=kept.grouped(digest),
        previous=kept.grouped(seal["previous"]) if seal["previous"] else "",
        engine_version=document["evaluation"]["engine_version"],
        inputs_digest=kept.grouped(document["evaluation"]["inputs_digest"]),
        verify_url=verify_url,
        qr=kept.qr(verify_url),
        cautions=kept.CAUTIONS,
        foot=f"{' · '.join(where)} · record {seal['number']} · {digest[:16]}…",
        sealed_at=seal["sealed_at"],
        signed_for=seal["signed_for"],
    )


def _direct(document: dict[str, Any]) -> DirectPaper:
    notes = direct.METHOD_NOTES[document["direct"]["method"]]
    return DirectPaper(notes, direct.points(document))


def _figure(document: dict[str, Any]) -> Figure:
    drawn = curve(document)
    return Figure(
        wide=calibration_plot(drawn, width=WIDE),
        narrow=calibration_plot(drawn, width=NARROW),
        caption="Calibration line, and how each flow point was read off it.",
    )
