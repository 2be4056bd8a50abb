"""Which things a row of a programme applies to. Pure: words on both sides, no rows.

A row names things as `kind:variety`; `any`, or no variety, takes all of the kind. A thing answers
to one kind or more: a bladder tank is `tank:bladder` and, by what it holds, `concentrate:pfas`.
A row that names several kinds has a duty on each thing that answers to one of them.
"""

from collections.abc import Iterable, Mapping

Answers = Mapping[str, frozenset[str]]

PROTEIN_AR = frozenset({"ar_fffp"})


def split(name: str) -> tuple[str, str]:
    kind, _, variety = name.partition(":")
    return kind, variety or "any"


def applies(names: Iterable[str], answers: Answers) -> bool:
    """Whether one of the names fits the thing."""
    for kind, variety in map(split, names):
        if kind in answers and (variety == "any" or variety in answers[kind]):
            return True
    return False


def of_proportioner(kind: str) -> Answers:
    return {"proportioner": frozenset({kind})}


def of_tank(kind: str, concentrate: Iterable[tuple[str, str]]) -> Answers:
    """`concentrate` is (kind, PFAS status) of each lot in the tank; none is a tank whose contents
    nobody noted, which still holds concentrate of some kind."""
    held = frozenset(word for lot in concentrate for word in of_lot(*lot))
    return {"tank": frozenset({kind}), "concentrate": held}


def of_lot(kind: str, pfas: str) -> frozenset[str]:
    """What is not known to be free of PFAS is treated as holding it, until its papers say so."""
    words = {kind, "protein_ar" if kind in PROTEIN_AR else "not_protein_ar"}
    return frozenset(words if pfas == "free" else words | {"pfas"})


def of_equipment(kind: str, variety: str) -> Answers:
    return {kind: frozenset({variety} - {""}), "equipment": frozenset({kind})}


def of_system(kind: str) -> Answers:
    return {"system": frozenset({kind})}


def of_site(holds: Iterable[Answers]) -> Answers:
    """A site answers for the concentrate of its tanks."""
    words = [answers.get("concentrate", frozenset()) for answers in holds]
    return {"site": frozenset().union(*words)}
