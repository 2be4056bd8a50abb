"""How a test is judged: the criterion of its system and the decision rule of its authorities."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from calc import acceptance
from itm.core.errors import Refused
from itm.records.baseline import Baseline, baselines
from itm.records.models import ProportioningTest
from itm.registry import criteria
from itm.registry.criteria import Words
from itm.registry.models import FlowPoint, Proportioner, Site, SiteAuthority

DEFAULT_PROBABILITY = 0.75  # own choice, no source: where no fire authority has set one


@dataclass(frozen=True)
class OwnBand:
    """The band of one flow point, and the acceptance test that it hangs on."""

    name: str
    baseline: Baseline
    band: acceptance.Band

    @property
    def words(self) -> str:
        return band_text(self.band.lower, self.band.upper)

    def columns(self) -> dict[str, Any]:
        return {
            "baseline_percent": self.baseline.percent,
            "baseline_source": self.baseline.source,
            "band_lower": self.band.lower,
            "band_upper": self.band.upper,
        }


@dataclass(frozen=True)
class FrozenRule:
    """How a result of this proportioner would be judged if it were prepared now.

    Under a criterion that compares with the acceptance test, `own` has a band for each flow point,
    `missing` names those without one, and `band` reaches over all of them.
    """

    criterion: str
    words: Words
    band: acceptance.Band
    verdict_probability: float | None
    lean_probability: float | None
    own: tuple[OwnBand, ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def narrowest(self) -> acceptance.Band:
        """What an instrument has to divide."""
        bands = [one.band for one in self.own] or [self.band]
        return min(bands, key=lambda band: band.upper - band.lower)

    def own_columns(self, name: str) -> dict[str, Any]:
        """Of the run at one flow point; nothing where the test has one band."""
        return next((one.columns() for one in self.own if one.name == name), {})

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


def frozen_rule(
    proportioner: Proportioner,
    on: date,
    *,
    purpose: str = ProportioningTest.Purpose.PERIODIC,
    points: Sequence[FlowPoint] | None = None,
    asked: tuple[float | None, float | None] | None = None,
) -> FrozenRule:
    """The criterion of the system and the decision rule of its fire authorities on that day.

    An acceptance test has nothing to be compared with: where the criterion would, the common rule
    judges it. `asked` are the `probabilities` of the site, where many are read.
    Refused nominal_not_named, baseline_too_far.
    """
    system, nominal = proportioner.system, proportioner.nominal_percent
    verdict, lean = asked or probabilities(system.site, on)
    compares = criteria.needs_baseline(system.criterion)
    alone = compares and purpose == ProportioningTest.Purpose.ACCEPTANCE
    own: tuple[OwnBand, ...] = ()
    missing: tuple[str, ...] = ()
    if compares and not alone:
        own, missing = own_bands(proportioner, system.criterion, points)
    code = criteria.COMMON if alone else system.criterion
    if own:
        band = acceptance.Band(
            min(one.band.lower for one in own), max(one.band.upper for one in own)
        )
    else:
        limits = (system.custom_lower, system.custom_upper)
        band = criteria.band_of(criteria.COMMON if missing else code, nominal, limits)
    return FrozenRule(
        criterion=code,
        words=criteria.words_of(code, "" if alone else system.criterion_source),
        band=band,
        verdict_probability=verdict,
        lean_probability=lean,
        own=own,
        missing=missing,
    )


def own_bands(
    proportioner: Proportioner, code: str, points: Sequence[FlowPoint] | None
) -> tuple[tuple[OwnBand, ...], tuple[str, ...]]:
    """Those that have an acceptance test to compare with, and the names of those without."""
    known = baselines(proportioner)
    run = proportioner.flow_points.filter(retired_on=None) if points is None else points
    names = [point.name for point in run]
    nominal = proportioner.nominal_percent
    own = tuple(
        OwnBand(name, known[name], criteria.band_of(code, nominal, baseline=known[name].percent))
        for name in names
        if name in known
    )
    return own, tuple(name for name in names if name not in known)


def baseline_sentence(missing: Sequence[str]) -> str:
    """What is missing, and what would give it."""
    return (
        "The criterion of this system compares each flow point with its acceptance test, and no "
        f"sealed one that is in band and settled is on record at “{'”, “'.join(missing)}”. "
        "Prepare an acceptance test first, or choose another criterion for the system."
    )


def require_baselines(missing: Sequence[str]) -> None:
    """Refused baseline_missing."""
    if missing:
        raise Refused("baseline_missing", baseline_sentence(missing), "purpose")


def frozen_words(test: ProportioningTest) -> Words:
    """The criterion as a test froze it; a row from before titles were kept has its source only."""
    return Words(
        test.criterion_title or criteria.title_before(test.criterion), test.criterion_source,
        test.criterion_edition, test.criterion_confidence,
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


def chance_of_lean(point: dict[str, Any], band: Mapping[str, Any]) -> float:
    """Probability that one result of the engine is lean, which the result itself leaves out."""
    verdict = acceptance.judge(
        point["percent"], point["standard_uncertainty"], point["degrees_of_freedom"],
        float(band["lower"]), float(band["upper"]),
    )  # fmt: skip
    return float(verdict.probability_lean)


def left_by_lean(point: dict[str, Any], band: Mapping[str, Any], asked: float | None) -> bool:
    """Whether a result is undecided because it is not surely enough not lean."""
    return (
        asked is not None
        and point["limits"] != acceptance.LEAN
        and 1 - chance_of_lean(point, band) < asked
    )


def band_text(lower: Decimal, upper: Decimal) -> str:
    """Both limits with the digits of the finer one: 3.0 to 3.9 %."""
    digits = max(len(f"{limit.normalize():f}".partition(".")[2]) for limit in (lower, upper))
    return f"{lower:.{digits}f} to {upper:.{digits}f} %"
