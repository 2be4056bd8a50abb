"""What a concentrate check says, all of it text: from its document and nothing else.

Page, report and verification read the same lines, so that they cannot disagree.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from calc.concentrate import DILUTED, OTHER_LIQUID, STRATIFIED, THICKENED
from itm.core.figures import plainly
from itm.registry.properties import PROPERTIES, bounds
from itm.reports.content_kept import grouped, licence_ended
from itm.reports.wording import Fact, SiteClock, by_whom, facts, iso_day

MEANS = {
    DILUTED: "water came in. A proportioner that mixes right delivers the right percent of a "
    "weaker liquid, and standards made from this tank do not show it",
    THICKENED: "stronger than the lot was: water was lost, or something stronger came in",
    OTHER_LIQUID: "index and density moved apart, which water alone does not do: another liquid "
    "came in, or one of the two was misread",
    "no change shown": "no change is shown beside the uncertainty",
}
ENDS = ("lowest", "highest")
NOTHING: Mapping[str, Any] = {"properties": [], "strength": [], "layers": [], "baseline": {}}


@dataclass(frozen=True)
class Strength:
    """How much of one bottle is concentrate of the lot; percents of it."""

    sample: str
    share: str
    expanded: str
    interval: str
    statement: str
    means: str
    by: str


@dataclass(frozen=True)
class Held:
    """One limit and where the value lies."""

    limit: str
    of: str
    source: str
    statement: str

    @property
    def outside(self) -> bool:
        return self.statement != "within"


@dataclass(frozen=True)
class ValueLine:
    """One property of one bottle, with every limit that it was held against."""

    sample: str
    words: str
    value: str
    temperature: str
    origin: str
    entered: str
    aside: str  # why it does not count, empty where it does
    held: tuple[Held, ...]
    note: str = ""


@dataclass(frozen=True)
class SampleLine:
    label: str
    point: str
    taken: str
    by: str
    look: str
    way: str
    report: str
    withdrawn: str


@dataclass(frozen=True)
class LimitLine:
    words: str
    limit: str
    title: str
    source: str
    confidence: str


def strengths(document: Mapping[str, Any]) -> tuple[Strength, ...]:
    return tuple(_strength(row) for row in _result(document)["strength"])


def _strength(row: Mapping[str, Any]) -> Strength:
    low, high = row["interval"]
    by = ", ".join(
        f"{PROPERTIES[part['property']].words} alone {part['share_left_percent']:.1f} ± "
        f"{2 * part['standard_uncertainty']:.1f}"
        for part in row["by"]
    )
    return Strength(
        sample=row["sample"],
        share=f"{row['share_left_percent']:.1f}",
        expanded=f"{2 * row['standard_uncertainty']:.1f}",
        interval=f"{low:.1f} to {high:.1f}",
        statement=row["statement"],
        means=MEANS[row["statement"]],
        by=by,
    )


def layers(document: Mapping[str, Any]) -> tuple[str, ...]:
    """In sentences; nothing where one bottle was filled or the tank was circulated first."""
    out = []
    for row in _result(document)["layers"]:
        known = PROPERTIES[row["property"]]
        apart = known.shown(plainly(row["largest_difference"], 2))
        may = known.shown(plainly(row["allowed"], 2))
        if row["statement"] == STRATIFIED:
            out.append(
                f"The bottles differ in {known.words} by up to {apart}, and {may} is what readings "
                "alone make: the tank stands in layers. Circulate it as its maker allows, sample "
                "again before judging it, and find where the water comes in."
            )
        else:
            out.append(
                f"The bottles differ in {known.words} by at most {apart}, no more than readings "
                f"alone make ({may}): no layers are shown."
            )
    return tuple(out)


def limits_words(document: Mapping[str, Any]) -> str:
    """One sentence over all limits."""
    rows = _result(document)["properties"]
    if not rows:
        return "Nothing measured has a limit at hand: neither certificate nor programme names one."
    outside = [row for row in rows if row["statement"] != "within"]
    if not outside:
        many = "the one limit" if len(rows) == 1 else f"all {len(rows)} limits"
        return f"Within {many} that it was held against."
    said = "; ".join(dict.fromkeys(map(_outside, outside)))
    return f"Outside {len(outside)} of {len(rows)} limits: {said}."


def _outside(row: Mapping[str, Any]) -> str:
    known = PROPERTIES[row["property"]]
    edge = row["lowest"] if row["statement"] == "below" else row["highest"]
    return (
        f"{row['sample']}, {known.words} {known.shown(_bare(row['value']))} is {row['statement']} "
        f"{known.shown(_bare(edge))}"
    )


def _bare(value: float) -> str:
    return f"{Decimal(repr(float(value))).normalize():f}"


def values(document: Mapping[str, Any], clock: SiteClock) -> tuple[ValueLine, ...]:
    """Bottle by bottle in the order of the table of properties; what was set aside stands in it."""
    judged: dict[tuple[str, str], list[Held]] = {}
    titles = {(one["of"], one["property"]): one for one in document["check"]["criteria"]}
    for row in _result(document)["properties"]:
        limit = titles.get((row["limits_of"], row["property"]), {})
        held = Held(
            _limit(limit, row), limit.get("title", row["limits_of"]), row["source"],
            row["statement"],
        )  # fmt: skip
        judged.setdefault((row["sample"], row["property"]), []).append(held)
    order = list(PROPERTIES)
    out = []
    for sample in document["samples"]:
        for value in sorted(sample["values"], key=lambda v: order.index(v["property"])):
            aside = value["set_aside"]
            counts = aside is None and not sample["withdrawn"]
            held_by = judged.get((sample["label"], value["property"]), []) if counts else []
            out.append(
                ValueLine(
                    sample=sample["label"],
                    words=value["words"],
                    value=value["typed"],
                    temperature=value["temperature_c"],
                    origin=_from(value),
                    entered=by_whom(value["entered_by"], clock.moment(value["entered_at"])),
                    aside=f"{aside['reason']} ({aside['by']})" if aside else "",
                    held=tuple(held_by),
                    note=_elsewhere(value) if counts else "",
                )
            )
    return tuple(out)


def _limit(limit: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    ends = [limit.get(end) or (None if row[end] is None else _bare(row[end])) for end in ENDS]
    return bounds(ends[0], ends[1], PROPERTIES[row["property"]])


def _from(value: Mapping[str, Any]) -> str:
    """Whose it is, by what and when it was measured; form 1 knew only the first."""
    on = value.get("measured_on")
    parts = (value["origin"], value.get("method"), f"measured on {iso_day(on)}" if on else "")
    return ", ".join(filter(None, parts))


def _elsewhere(value: Mapping[str, Any]) -> str:
    """Index and density that were not read at the temperature of certificates."""
    if not PROPERTIES[value["property"]].mixes:
        return ""
    typed = value["temperature_c"]
    if not typed:
        return "no temperature noted: held against nothing"
    degrees = Decimal(typed.replace(",", ".").replace("−", "-"))
    if abs(degrees - 20) <= 1:
        return ""
    return f"read at {typed} °C: certificates and limits hold at 20 °C, so it is held against none"


def criteria(document: Mapping[str, Any]) -> tuple[LimitLine, ...]:
    """Every limit that was fixed when the check was begun, measured or not."""
    return tuple(
        LimitLine(
            words=PROPERTIES[one["property"]].words,
            limit=bounds(one["lowest"], one["highest"], PROPERTIES[one["property"]]),
            title=", ".join(filter(None, (one["title"], one["edition"]))),
            source=one["source"],
            confidence=one["confidence"],
        )
        for one in document["check"]["criteria"]
    )


def samples(document: Mapping[str, Any], clock: SiteClock) -> tuple[SampleLine, ...]:
    papers = {one["key"]: one for one in document["reports"]}
    return tuple(
        SampleLine(
            label=one["label"],
            point=one["point"],
            taken=clock.time(one["taken_at"]),
            by=one["taken_by"],
            look=one["look"],
            way=_way(one),
            report=_paper(papers.get(one["report"])),
            withdrawn=one["withdrawn"],
        )
        for one in document["samples"]
    )


def _way(sample: Mapping[str, Any]) -> str:
    if not sample["sent_on"]:
        return "not sent"
    said = f"sent to {sample['laboratory']} on {iso_day(sample['sent_on'])}"
    if sample["consignment"]:
        said += f", {sample['consignment']}"
    if sample["received_on"]:
        said += f"; arrived {iso_day(sample['received_on'])}"
    return said


def _paper(paper: Mapping[str, Any] | None) -> str:
    if paper is None:
        return ""
    return f"{paper['laboratory']}, {paper['number']}, {iso_day(paper['reported_on'])}"


def papers(document: Mapping[str, Any]) -> tuple[Fact, ...]:
    """Laboratory papers with the digest of each file, so that the paper at hand can be proved."""
    return tuple(
        Fact(
            _paper(one),
            f"{one['name']}, SHA-256 {grouped(one['sha256'])}",
            f"withdrawn: {one['withdrawn']}" if one["withdrawn"] else "",
        )
        for one in document["reports"]
    )


def basis(document: Mapping[str, Any]) -> tuple[Fact, ...]:
    """What ought to stand in the tank by its book."""
    return facts(
        *(
            (lot["lot"], ", ".join(filter(None, _lot(lot))))
            for lot in document["check"]["basis"]["lots"]
        )
    )


def _lot(lot: Mapping[str, Any]) -> Iterator[str]:
    yield f"{lot['share_percent']} % of the tank"
    yield f"nD {lot['refractive_index']}" if lot["refractive_index"] else "no index given"
    yield f"{lot['density']} kg/m³" if lot["density"] else "no density given"
    yield f"pH {lot['ph']}" if lot["ph"] else ""


def warnings(document: Mapping[str, Any]) -> tuple[str, ...]:
    """What a reader has to know beside the figures."""
    check = document["check"]
    out = list(check["basis"].get("remarks", ()))
    lots = check["basis"]["lots"]
    if not lots:
        out.append(
            "Nothing was noted of what stands in this tank, so its strength cannot be told: "
            "there is nothing to compare with."
        )
    elif document["evaluation"] and not _result(document)["strength"]:
        out.append(_no_strength(document))
    if len(lots) > 1:
        out.append(
            f"{len(lots)} lots stand in the tank by its book. Index and density are compared with "
            "their mixture by volume; pH and viscosity do not mix so."
        )
    if check["circulated"]:
        out.append(
            "The tank was circulated before the bottles were filled: they say nothing about layers."
        )
    elif len({s["point"] for s in document["samples"] if not s["withdrawn"]}) == 1:
        out.append("All bottles are from one point of the tank: layers would not show.")
    for sample in document["samples"]:
        if sample["withdrawn"]:
            out.append(f"{sample['label']} was withdrawn: {sample['withdrawn']}.")
    if ended := licence_ended(document, date.fromisoformat(check["checked_on"])):
        out.append(ended)
    return tuple(out)


def _no_strength(document: Mapping[str, Any]) -> str:
    lots = document["check"]["basis"]["lots"]
    if not any(lot["refractive_index"] or lot["density"] for lot in lots):
        return (
            "No certificate in this tank gives index or density, so how much of the lot is left "
            "cannot be told."
        )
    return (
        "Neither index nor density was read at 20 °C beside a certificate that gives it, so how "
        "much of the lot is left cannot be told."
    )


def rule(document: Mapping[str, Any]) -> tuple[str, ...]:
    """How it is decided."""
    u = document["check"]["uncertainty"]
    return (
        "Each value is held by itself against each limit, by its plain value; a value on a limit "
        "is within.",
        "What is left of the lot is (reading − water)/(certificate − water), by index and by "
        "density at 20 °C, and both together where they agree. Water by published equations.",
        f"Standard uncertainty of a reading beside its certificate: {u['refractive_index']} of "
        f"index, {u['density']} kg/m³ of density. Statements hold at 95 %.",
        "Limits were fixed when the check was begun, before the first value.",
    )


def occasion(document: Mapping[str, Any], clock: SiteClock) -> tuple[Fact, ...]:
    check = document["check"]
    return facts(
        ("Sampled on", iso_day(check["checked_on"])),
        ("Occasion", check["purpose"]),
        ("Checked by", document["checked_by"]),
        ("Before sampling", "circulated" if check["circulated"] else "not circulated"),
        ("Notes", check["notes"]),
    )


def place(document: Mapping[str, Any]) -> tuple[Fact, ...]:
    site, tank = document["site"], document["tank"]
    address = ", ".join(line for line in site["address"].splitlines() if line.strip())
    return facts(
        ("Site", site["name"]),
        ("Address", ", ".join(part for part in (address, site["country"]) if part)),
        ("Owner", site["owner"]),
        *((f"Authority, {one['scope'].lower()}", one["name"]) for one in document["authorities"]),
        ("Tank", f"{tank['tag']} ({tank['kind'][0].lower()}{tank['kind'][1:]})"),
        ("Capacity", f"{tank['capacity']}, usable {tank['usable_volume']}"),
        ("Feeds", "; ".join(f"{one['proportioner']}, {one['system']}" for one in tank["feeds"])),
    )


def _result(document: Mapping[str, Any]) -> Mapping[str, Any]:
    evaluation = document["evaluation"]
    found: Mapping[str, Any] = evaluation["result"] if evaluation else NOTHING
    return found
