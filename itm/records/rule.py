"""How a test is judged: the criterion of its system and the decision rule of its authorities."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from calc import acceptance
from itm.records.models import ProportioningTest
from itm.registry import criteria
from itm.registry.criteria import Words
from itm.registry.models import Proportioner, Site, SiteAuthority

DEFAULT_PROBABILITY = 0.75  # own choice, no source: where no fire authority has set one


@dataclass(frozen=True)
class FrozenRule:
    """How a result of this proportioner would be judged if it were prepared now."""

    criterion: str
    words: Words
    band: acceptance.Band
    verdict_probability: float | None
    lean_probability: float | None

    def columns(self) -> dict[str, Any]:
        """By value, as a test keeps them."""
        return {
            "criterion": self.criterion,
            "criterion_title": self.words.title,
            "criterion_source": self.words.source,
            "criterion_edition": self.words.edition,
            "criterion_confidence": self.words.confidence,
            "band_lower": self.band.lower,
            "band_upper": self.band.upper,
            "verdict_probability": self.verdict_probability,
            "lean_probability": self.lean_probability,
        }


def frozen_rule(proportioner: Proportioner, on: date) -> FrozenRule:
    """The criterion of the system and the decision rule of its fire authorities on that day.

    Refused nominal_not_named.
    """
    system = proportioner.system
    verdict, lean = probabilities(system.site, on)
    return FrozenRule(
        criterion=system.criterion,
        words=criteria.words_of(system.criterion, system.criterion_source),
        band=criteria.band_of(
            system.criterion,
            proportioner.nominal_percent,
            (system.custom_lower, system.custom_upper),
        ),
        verdict_probability=verdict,
        lean_probability=lean,
    )


def frozen_words(test: ProportioningTest) -> Words:
    """The criterion as a test froze it; a row from before titles were kept has its source only."""
    return Words(
        test.criterion_title, test.criterion_source, test.criterion_edition,
        test.criterion_confidence,
    )  # fmt: skip


def probabilities(site: Site, on: date) -> tuple[float | None, float | None]:
    """The strictest of the fire authorities, for any answer and for not being lean; simple
    acceptance only where all of them say so."""
    fire = SiteAuthority.objects.covering(on)
    fire = fire.filter(site=site, scope=SiteAuthority.Scope.FIRE)
    rows = fire.values_list("organisation__verdict_probability", "organisation__lean_probability")
    if not rows:
        return DEFAULT_PROBABILITY, None
    verdicts, leans = zip(*rows, strict=True)
    strictest = [
        max((p for p in asked if p is not None), default=None) for asked in (verdicts, leans)
    ]
    return strictest[0], strictest[1]


def chance_of_lean(point: dict[str, Any], band: dict[str, Any]) -> float:
    """Probability that one result of the engine is lean, which the result itself leaves out."""
    verdict = acceptance.judge(
        point["percent"], point["standard_uncertainty"], point["degrees_of_freedom"],
        float(band["lower"]), float(band["upper"]),
    )  # fmt: skip
    return float(verdict.probability_lean)


def left_by_lean(point: dict[str, Any], band: dict[str, Any], asked: float | None) -> bool:
    """Whether a result is undecided because it is not surely enough not lean."""
    return (
        asked is not None
        and point["limits"] != acceptance.LEAN
        and 1 - chance_of_lean(point, band) < asked
    )
