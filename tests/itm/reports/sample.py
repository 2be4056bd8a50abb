"""A sealed document made by hand for the tests of report and verification.

All of it is invented: site, people, instrument, readings.
"""

import copy
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import calc
from calc.canonical import canonical_bytes, digest_bytes
from itm.reports.content import Paper, paper

ROLES = {
    "water": "test water",
    "standard": "premix standard",
    "concentrate": "undiluted concentrate",
    "sample": "discharge sample",
}
# role, label, flow point, concentrate mL, water mL, readings (value, °C), in the order read
BENCH = (
    ("water", "Water", None, "", "", (("1.33301", "19.9"), ("1.33302", "20.0"))),
    ("standard", "S2", None, "4.0", "196.0", (("1.33362", "19.9"), ("1.33363", "20.0"))),
    ("standard", "S3", None, "6.0", "194.0", (("1.33395", "20.0"), ("1.33394", "20.0"))),
    ("standard", "S4", None, "8.1", "191.9", (("1.33491", "20.0"), ("1.33428", "20.1"))),
    ("concentrate", "Concentrate", None, "", "", (("1.36408", "20.1"),)),
    ("sample", "M1", "minimum", "", "", (("1.33400", "20.0"), ("1.33401", "20.0"))),
    ("sample", "M2", "minimum", "", "", (("1.33399", "20.0"),)),
    ("sample", "D1", "design", "", "", (("1.33414", "20.1"),)),
    ("sample", "D2", "design", "", "", (("1.33413", "20.1"), ("1.33415", "20.1"))),
)
SET_ASIDE = ("S4", 0)
MOMENT = "2026-06-18T{:02d}:{:02d}:00Z"


def key(name: str) -> str:
    return str(uuid5(NAMESPACE_URL, f"https://sample.invalid/{name}"))


def at(step: int) -> str:
    """Two minutes a reading, from noon UTC on."""
    return MOMENT.format(12 + 2 * step // 60, 2 * step % 60)


def bottles(bench: tuple = BENCH) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    sequence = 0
    for role, label, flow_point, concentrate, water, readings in bench:
        percent = {"water": 0.0, "concentrate": 100.0}.get(role)
        if role == "standard":
            percent = 100 * float(concentrate) / (float(concentrate) + float(water))
        lines = []
        for i, (value, temperature) in enumerate(readings):
            sequence += 1
            aside = (label, i) == SET_ASIDE
            lines.append({
                "key": key(f"reading {sequence}"), "sequence": sequence, "value": value,
                "temperature_c": temperature, "read_by": "Teresa Vilar",
                "read_at": at(sequence),
                "set_aside": {"reason": "bubble on the prism", "by": "Teresa Vilar",
                              "at": at(sequence + 1)} if aside else None,
            })  # fmt: skip
        out.append({
            "key": key(label), "role": ROLES[role], "label": label, "flow_point": flow_point,
            "concentrate_ml": concentrate, "water_ml": water, "percent": percent,
            "taken_at": MOMENT.format(10, 10 + len(out)) if role == "sample" else None,
            "readings": lines,
        })  # fmt: skip
    return out


def inputs(made: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    """The engine's form of the bottles, without the readings set aside."""

    def readings(bottle: dict[str, Any]) -> list[dict[str, float]]:
        return [
            {"value": float(r["value"]), "temperature_c": float(r["temperature_c"])}
            for r in bottle["readings"]
            if r["set_aside"] is None
        ]

    def of(role: str) -> list[dict[str, Any]]:
        return [bottle for bottle in made if bottle["role"] == ROLES[role]]

    return {
        "method": "refractive_index",
        "nominal_percent": 3.0,
        "criterion": "common",
        "instrument": {
            "resolution": 0.00001,
            "repeatability": 0.00002,
            "temperature_compensated": False,
        },
        "water": [r for bottle in of("water") for r in readings(bottle)],
        "standards": [
            {
                "concentrate_ml": float(bottle["concentrate_ml"]),
                "water_ml": float(bottle["water_ml"]),
                "readings": readings(bottle),
            }
            for bottle in of("standard")
        ],
        "concentrate": [r for bottle in of("concentrate") for r in readings(bottle)] or None,
        "samples": [
            {
                "name": bottle["label"],
                "flow_point": bottle["flow_point"],
                "readings": readings(bottle),
            }
            for bottle in of("sample")
        ],
        "include_water": True,
        "fit": "ordinary",
        "verdict_probability": 0.75,
        **changes,
    }


def document(bench: tuple = BENCH, **engine: Any) -> dict[str, Any]:
    """One sealed record as the canonical form holds it; changes of the engine's form by name."""
    made = bottles(bench)
    form = inputs(made, **engine)
    result = calc.evaluate(form).as_dict()
    out = {
        "form": 1,
        "kind": "proportioning test",
        "key": key("test"),
        "amends": None,
        **_place(),
        "visit": _visit(),
        "test": {
            "purpose": "periodic", "phase": "as found", "adjusted": "", "tested_on": "2026-06-18",
            "notes": "Wind from the river; the minimum flow was held by hand.",
            "nominal_percent": "3", "criterion": "common",
            "criterion_source": "NFPA 11, section on induction rate",
            "band": {"lower": str(result["band"]["lower"]), "upper": str(result["band"]["upper"])},
            "verdict_probability": form["verdict_probability"],
            "include_water": form["include_water"],
        },
        "runs": _runs(),
        "flush": _flush(),
        "restoration": _restoration(),
        "bench": {**_bench(), "bottles": made},
        "evaluation": {
            "engine_version": result["engine_version"],
            "inputs_digest": result["inputs_digest"],
            "inputs": form,
            "result": result,
        },
        "supply": [
            {"flow_point": "minimum", "minutes": 78.0, "required_minutes": 20.0,
             "basis": "usable volume of the tank, 1500 L, at this flow alone"},
            {"flow_point": "design", "minutes": 21.4, "required_minutes": 20.0,
             "basis": "usable volume of the tank, 1500 L, at this flow alone"},
        ],
        "handed_in": {"by": "Teresa Vilar", "organisation": "Estuário Ensaios",
                      "at": MOMENT.format(16, 20)},
        "moves": _moves(),
        "seal": {
            "number": 7, "previous": "5d" * 32, "sealed_at": MOMENT.format(17, 45),
            "signer": "Henrique Moutinho", "qualification": "Foam systems supervisor",
            "number_of_licence": "SEC-2231", "signed_for": "Estuário Ensaios",
        },
    }  # fmt: skip
    return copy.deepcopy(out)


def _place() -> dict[str, Any]:
    return {
        "site": {"key": key("site"), "name": "Cais Novo terminal", "country": "Portugal",
                 "address": "Avenida do Cais 14\n4400-000 Vila Salgada",
                 "time_zone": "Europe/Lisbon", "owner": "Cais Novo Armazenagem"},
        "authorities": [{"name": "Fire service of the Lower Estuary", "scope": "Fire protection"}],
        "system": {"key": key("system"), "name": "Tank row B, pourers",
                   "kind": "Foam chambers on a storage tank",
                   "hazard": "Three cone-roof tanks, gas oil", "fuel": "Hydrocarbon",
                   "required_minutes": 20.0},
        "proportioner": {"key": key("proportioner"), "tag": "FP-12", "kind": "Bladder tank",
                         "nominal_percent": "3", "lowest_listed_flow": "500 L/min",
                         "highest_listed_flow": "2500 L/min"},
        "tank": {"key": key("tank"), "tag": "FT-12", "kind": "Bladder tank",
                 "usable_volume": "1500 L",
                 "fills": [{"lot": "Linden 3 % AFFF, batch 24-117", "volume": "1500 L",
                            "filled_on": "2024-03-05"}]},
    }  # fmt: skip


def _visit() -> dict[str, Any]:
    return {
        "key": key("visit"), "contractor": "Estuário Ensaios", "planned_on": "2026-06-18",
        "crew": "Teresa Vilar, Bruno Sá",
        "effluent_plan": "6 m³ at 3 % into the lined bund, hauled by road to the treatment works.",
        "ambient_c": "21.5", "weather": "dry, wind 4 m/s from the west",
        "coordinator": "Alda Fontes", "impairment_reason": "yearly proportioning test",
        "started_at": MOMENT.format(8, 5), "started_by": "Bruno Sá",
        "restored_at": MOMENT.format(15, 55), "restored_by": "Bruno Sá",
        "notices": [
            {"told": "Control room of the site", "by": "Bruno Sá", "how": "in person",
             "reference": "", "told_at": MOMENT.format(7, 50)},
            {"told": "Monitoring company", "by": "Bruno Sá", "how": "telephone",
             "reference": "call 88213", "told_at": MOMENT.format(7, 58)},
        ],
    }  # fmt: skip


def _runs() -> list[dict[str, Any]]:
    return [
        {"flow_point": "minimum", "flow": "600 L/min", "inlet_pressure": "6.8 bar",
         "solution_flow": "610 L/min", "flow_source": "flow meter",
         "foam_seen_at": MOMENT.format(10, 2), "level_before": "1480 L", "level_after": "1400 L",
         "samples": ["M1", "M2"]},
        {"flow_point": "design", "flow": "1900 L/min", "inlet_pressure": "6.1 bar",
         "solution_flow": "1920 L/min", "flow_source": "flow meter",
         "foam_seen_at": MOMENT.format(10, 14), "level_before": "1400 L", "level_after": "1190 L",
         "samples": ["D1", "D2"]},
    ]  # fmt: skip


def _flush() -> list[dict[str, Any]]:
    steps = (
        "Last sample taken",
        "Concentrate isolation valve shut",
        "Water run until clear",
        "Water shut",
        "Concentrate isolation valve opened",
    )
    return [
        {"text": text, "done_at": MOMENT.format(10, 25 + i), "done_by": "Bruno Sá"}
        for i, text in enumerate(steps)
    ]


def _restoration() -> list[dict[str, Any]]:
    def line(text: str, outcome: str, minute: int, **more: Any) -> dict[str, Any]:
        return {"text": text, "outcome": outcome, "ended_at": MOMENT.format(15, minute),
                "ended_by": "Bruno Sá", "reason": "", "handed_to": "", "handed_at": None,
                **more}  # fmt: skip

    return [
        line("Concentrate tank outlet valve open", "restored", 10),
        line("Water inlet valve to the bladder tank open", "restored", 12),
        line("Test header valve shut and capped", "restored", 15),
        line("Automatic drain free", "not fitted", 16),
        line("Strainer cleaned and closed", "left out of service", 30,
             reason="gasket torn, new one on order", handed_to="Alda Fontes",
             handed_at=MOMENT.format(15, 40)),
    ]  # fmt: skip


def _bench() -> dict[str, Any]:
    return {
        "key": key("bench"), "method": "refractive_index",
        "instrument": {"key": key("instrument"), "name": "Bench refractometer",
                       "serial_number": "RX-0417", "unit": "", "resolution": "0.00001",
                       "repeatability": "0.00002", "temperature_compensated": False,
                       "certificate": "K-2025-118", "certificate_due_on": "2026-09-30"},
        "lot": "Linden 3 % AFFF, batch 24-117", "water_source": "Fire main, hydrant H4",
        "glassware": "Class A pipette 10 mL, flask 200 mL", "batch_volume_ml": "200",
        "notes": "",
    }  # fmt: skip


def _moves() -> list[dict[str, Any]]:
    def move(verb: str, hour: int, person: str, organisation: str, reason: str = "") -> dict:
        return {"verb": verb, "at": MOMENT.format(hour, 5), "person": person,
                "organisation": organisation, "reason": reason}  # fmt: skip

    return [
        move("hand_in", 14, "Teresa Vilar", "Estuário Ensaios"),
        move("send_back", 15, "Alda Fontes", "Cais Novo Armazenagem",
             "the number of the call to the monitoring company is missing"),
        move("hand_in", 16, "Teresa Vilar", "Estuário Ensaios"),
        move("sign", 17, "Henrique Moutinho", "Estuário Ensaios"),
    ]  # fmt: skip


def seal_of(form: dict[str, Any]) -> tuple[bytes, str]:
    """Canonical bytes and digest, as sealing makes them."""
    data = canonical_bytes(form)
    return data, digest_bytes(data)


def paper_of(form: dict[str, Any], *, digest: str = "") -> Paper:
    """`digest` is that of the sealed record, where the form is that record in other units."""
    digest = digest or seal_of(form)[1]
    return paper(form, digest=digest, verify_url=f"https://records.invalid/verify/{digest}/")
