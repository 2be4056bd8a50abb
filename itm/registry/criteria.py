"""Acceptance criteria that a system can be judged by: those shipped as data, and its own limits.

A system holds only the code of its criterion; the words and the band are frozen by value into each
test when it is prepared, so that neither an edited file nor another choice moves a test.
"""

from dataclasses import dataclass
from decimal import Decimal

from calc import acceptance, criteria
from calc.acceptance import Band
from calc.errors import CalcError
from itm.core.errors import Refused

COMMON, CUSTOM = "common", "custom"
OWN_LIMITS = "Limits set for this system"
FROM_OWNER = "as the owner of the system gives it"


@dataclass(frozen=True)
class Words:
    """What page and report say about a criterion."""

    title: str
    source: str = ""
    edition: str = ""
    confidence: str = ""

    @property
    def grounds(self) -> str:
        """Source, edition and how sure that is, in one line; empty where nothing is known."""
        edition = f"edition {self.edition}" if self.edition == "not known" else self.edition
        return "; ".join(part for part in (self.source, edition, self.confidence) if part)


def title_before(code: str) -> str:
    """What was said of a criterion before its title was frozen with the test."""
    if code == COMMON:
        return "From nominal to the lower of 1.3 × nominal and nominal + 1 point"
    return OWN_LIMITS


def shipped() -> dict[str, criteria.Criterion]:
    """By the code that a system holds, the common rule first."""
    rules = dict(criteria.shipped_criteria())
    common = {COMMON: rules.pop(criteria.COMMON)}
    return common | rules


def needs_baseline(code: str) -> bool:
    """Whether the band of a flow point hangs on its acceptance test."""
    rule = shipped().get(code)
    return rule is not None and rule.needs_baseline


def choices() -> list[tuple[str, str]]:
    titles = [(code, rule.title) for code, rule in shipped().items()]
    return [*titles, (CUSTOM, OWN_LIMITS)]


def words_of(code: str, own_source: str = "") -> Words:
    """A source that the owner wrote down comes before the one in the data, whose edition and
    confidence then say nothing about it."""
    rule = shipped().get(code)
    title = rule.title if rule else OWN_LIMITS
    if own_source:
        return Words(title, own_source, confidence=FROM_OWNER)
    return Words(title, rule.source, rule.edition, rule.confidence) if rule else Words(title)


def band_of(
    code: str,
    nominal: Decimal,
    own: tuple[Decimal | None, Decimal | None] = (None, None),
    baseline: Decimal | None = None,
) -> Band:
    """The acceptance band at this nominal percent. Refused nominal_not_named, baseline_too_far."""
    lower, upper = own
    if code == CUSTOM and lower is not None and upper is not None:
        return acceptance.custom_band(lower, upper)
    require_named(code, nominal)
    try:
        return criteria.criterion_band(shipped()[code], nominal, baseline)
    except CalcError as error:
        if error.code != "baseline_too_far":
            raise
        raise Refused(error.code, error.message, "purpose") from error


def require_named(code: str, nominal: Decimal, place: str = "criterion") -> None:
    """Refused nominal_not_named: some criteria list the percents that they are about."""
    rule = shipped().get(code)
    if rule is None or not rule.bands or nominal in rule.bands:
        return
    named = ", ".join(f"{percent.normalize():f}" for percent in rule.bands)
    raise Refused(
        "nominal_not_named",
        f"“{rule.title}” says nothing about a nominal {nominal.normalize():f} %, only about "
        f"{named} %. Choose another criterion for the system, or give it limits of its own.",
        place,
    )
