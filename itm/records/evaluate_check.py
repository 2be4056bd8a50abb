"""A concentrate check → the engine's form → a stored evaluation.

Index and density belong to 20 °C, as the certificate gives them: what was read elsewhere is shown
and held against nothing.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import calc
from calc.commands import check_concentrate_command
from calc.concentrate import DILUTED, OTHER_LIQUID, STRATIFIED, THICKENED
from itm.accounts.actor import Actor
from itm.records.evaluate import Preview
from itm.records.loading import whole_check
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    Evaluation,
    PastCheckLine,
    SampleValue,
)
from itm.registry.properties import PROPERTIES

CERTIFICATE_C = Decimal(20)
APART_C = Decimal(1)  # °C beyond which index and density say something else: common practice
WITHIN, OUTSIDE, NO_LIMITS = "within limits", "outside limits", "no limits"
WORST_FIRST = (OTHER_LIQUID, DILUTED, THICKENED)


def in_force(sample: ConcentrateSample) -> list[SampleValue]:
    """In the order of the table of properties, however they came in."""
    order = list(PROPERTIES)
    values = [value for value in sample.values.all() if value.set_aside_at is None]
    return sorted(values, key=lambda value: order.index(value.name))


def in_use(check: ConcentrateCheck) -> list[ConcentrateSample]:
    return [sample for sample in check.samples.all() if not sample.withdrawn_reason]


def elsewhere(value: SampleValue | PastCheckLine) -> bool:
    """Whether it was read at a temperature for which nothing is known of it."""
    if not PROPERTIES[value.name].mixes:
        return False
    return value.temperature_c is None or abs(value.temperature_c - CERTIFICATE_C) > APART_C


def engine_input(check: ConcentrateCheck) -> dict[str, Any]:
    """The engine's form of a check as `loading.whole_check` gives it."""
    samples = []
    for sample in in_use(check):
        told = {v.name: float(v.value) for v in in_force(sample) if not elsewhere(v)}
        if told:
            samples.append({"name": sample.label, **told})
    form: dict[str, Any] = {
        "temperature_c": float(CERTIFICATE_C),
        "samples": samples,
        "uncertainty": {
            "refractive_index": float(check.u_refractive_index),
            "density": float(check.u_density),
        },
        "circulated": check.circulated,
        **_baseline(check.basis),
    }
    if check.criteria:
        form["limits"] = [_limit(one) for one in check.criteria]
    return form


def _baseline(basis: Mapping[str, Any]) -> dict[str, Any]:
    """Of one lot its certificate, of several their mixture by volume."""
    lots = basis.get("lots", [])
    known = [
        {name: float(lot[name]) for name in ("refractive_index", "density") if lot[name]}
        for lot in lots
    ]
    if len(lots) == 1:
        return {"lot": known[0]} if known[0] else {}
    if not lots or not any(known):
        return {}
    return {
        "fills": [
            {"volume_l": float(lot["volume_l"]), **one}
            for lot, one in zip(lots, known, strict=True)
        ]
    }


def _limit(one: Mapping[str, Any]) -> dict[str, Any]:
    ends = {key: float(one[key]) for key in ("lowest", "highest") if one[key] is not None}
    return {key: one[key] for key in ("property", "of", "source", "confidence")} | ends


def preview(check: ConcentrateCheck) -> Preview:
    """What the values give now, for a check that `whole_check` has given. Stores nothing."""
    form = engine_input(check)
    if not form["samples"]:
        return Preview(
            form, None, "No bottle has a value yet that can be held against anything; enter one."
        )
    try:
        return Preview(form, judge(form))
    except calc.CalcError as refusal:
        return Preview(form, None, refusal.message)


def judge(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """The result of stored inputs as plain data. Raises calc.CalcError where the engine refuses."""
    return check_concentrate_command(dict(inputs))


def evaluate_check(check: ConcentrateCheck, *, actor: Actor) -> Evaluation:
    """Keep inputs, result, version and digest as a new row. Raises calc.CalcError."""
    form = engine_input(whole_check(check.pk))
    result = judge(form)
    return Evaluation.objects.create(
        by=actor, concentrate_check=check, engine_version=result["engine_version"],
        inputs_digest=result["inputs_digest"], inputs=form, result=result,
    )  # fmt: skip


def outcome(result: Mapping[str, Any]) -> dict[str, str]:
    """The worst of all bottles, for lists and for what is due."""
    sides = {row["statement"] for row in result["properties"]}
    said = {row["statement"] for row in result["strength"]}
    apart = {row["statement"] for row in result["layers"]}
    return {
        "limits": (OUTSIDE if sides - {"within"} else WITHIN) if sides else NO_LIMITS,
        "strength": next((word for word in WORST_FIRST if word in said), next(iter(said), "")),
        "layers": STRATIFIED if STRATIFIED in apart else next(iter(apart), ""),
    }


def proves(check: ConcentrateCheck) -> bool:
    """Whether nothing asks for another sample: our own choice, no source. Whatever shows that the
    tank is not what was filled into it is looked at again, also inside the limits."""
    return (
        check.limits != OUTSIDE
        and check.strength not in WORST_FIRST
        and (check.layers != STRATIFIED)
    )
