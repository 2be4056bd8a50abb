"""The report of a concentrate check: everything that stands on it, in its order."""

from dataclasses import dataclass
from typing import Any, ClassVar

from itm.core.figures import day
from itm.reports import content_check as said
from itm.reports import content_kept as kept
from itm.reports.wording import Fact, SiteClock

CAUTIONS = (
    "This report says what was measured of the bottles named in it. It approves no concentrate and "
    "says nothing about other parts of the tank, the pipes or later days.",
    kept.CAUTIONS[1],
    "Where the adopted programme asks for a small fire test, no other property replaces it.",
    "Concentrate, rinse water and what is left of the bottles are waste; where the concentrate "
    "holds PFAS, the law on PFAS waste applies to all of them.",
)


@dataclass(frozen=True)
class CheckPaper:
    """The counterpart of `content.Paper`; both are read by what prints every kind of report."""

    template: ClassVar[str] = "report/check.html"
    kind: ClassVar[str] = "Concentrate check report"
    figure: ClassVar[None] = None
    title: str
    site: str
    tank: str
    maker: str
    checked_on: str
    occasion: str
    zone: str
    number: str
    amends: kept.Amendment | None
    limits: str
    strengths: tuple[said.Strength, ...]
    layers: tuple[str, ...]
    warnings: tuple[str, ...]
    rule: tuple[str, ...]
    values: tuple[said.ValueLine, ...]
    samples: tuple[said.SampleLine, ...]
    papers: tuple[Fact, ...]
    criteria: tuple[said.LimitLine, ...]
    basis: tuple[Fact, ...]
    place: tuple[Fact, ...]
    day: tuple[Fact, ...]
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


def check_paper(document: dict[str, Any], *, digest: str, verify_url: str) -> CheckPaper:
    """The report of a document in canonical form number 1 of its kind."""
    clock = SiteClock.of(document)
    seal, evaluation = document["seal"], document["evaluation"]
    where = (document["site"]["name"], document["tank"]["tag"], day(clock.tested_on))
    return CheckPaper(
        title=f"Concentrate check: {', '.join(where)}",
        site=document["site"]["name"],
        tank=document["tank"]["tag"],
        maker=document["checked_by"],
        checked_on=day(clock.tested_on),
        occasion=document["check"]["purpose"],
        zone=document["site"]["time_zone"],
        number=str(seal["number"]),
        amends=kept.amendment(document),
        limits=said.limits_words(document),
        strengths=said.strengths(document),
        layers=said.layers(document),
        warnings=said.warnings(document),
        rule=said.rule(document),
        values=said.values(document, clock),
        samples=said.samples(document, clock),
        papers=said.papers(document),
        criteria=said.criteria(document),
        basis=said.basis(document),
        place=said.place(document),
        day=said.occasion(document, clock),
        moves=kept.moves(document, clock),
        handed_in=kept.handed_in(document, clock),
        signed=kept.signed(document, clock),
        digest=kept.grouped(digest),
        previous=kept.grouped(seal["previous"]) if seal["previous"] else "",
        engine_version=evaluation["engine_version"],
        inputs_digest=kept.grouped(evaluation["inputs_digest"]),
        verify_url=verify_url,
        qr=kept.qr(verify_url),
        cautions=CAUTIONS,
        foot=f"{' · '.join(where)} · record {seal['number']} · {digest[:16]}…",
        sealed_at=seal["sealed_at"],
        signed_for=seal["signed_for"],
    )
