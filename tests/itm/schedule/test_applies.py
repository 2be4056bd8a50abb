"""Words of a row against words of a thing."""

import pytest

from itm.schedule.applies import (
    applies,
    of_equipment,
    of_lot,
    of_proportioner,
    of_site,
    of_system,
    of_tank,
)

SEALED = of_equipment("valve", "sealed")
BLADDER = of_tank("bladder", [("afff", "contains")])
BARE = of_tank("atmospheric", [])


@pytest.mark.parametrize(
    ("names", "answers", "fits"),
    [
        (["valve:sealed"], SEALED, True),
        (["valve:locked"], SEALED, False),
        (["valve:any"], SEALED, True),
        (["valve"], SEALED, True),
        (["equipment:valve"], SEALED, True),
        (["strainer:any"], SEALED, False),
        (["concentrate_pump:any"], of_equipment("concentrate_pump", ""), True),
        (["proportioner:bladder_tank"], of_proportioner("bladder_tank"), True),
        (["tank:bladder"], BLADDER, True),
        (["tank:atmospheric"], BLADDER, False),
        (["concentrate:pfas"], BLADDER, True),
        (["concentrate:any"], BARE, True),  # holds something that nobody noted
        (["concentrate:pfas"], BARE, False),
        (["proportioner:any", "concentrate_pump:any"], of_equipment("concentrate_pump", ""), True),
        (["system:any"], of_system("deluge"), True),
        (["site:pfas"], of_site([BARE, BLADDER]), True),
        (["site:pfas"], of_site([BARE]), False),
        ([], SEALED, False),
    ],
)
def test_names_fit_things(names, answers, fits):
    assert applies(names, answers) is fits


def test_what_is_not_known_to_be_free_of_pfas_counts_as_holding_it():
    """Our own choice: the cautious reading of papers that are missing."""
    assert "pfas" in of_lot("sfff", "unknown")
    assert "pfas" not in of_lot("sfff", "free")


def test_only_protein_based_alcohol_resistant_has_its_own_rows():
    """MSC.1/Circ.1312 keeps its small-scale fire test for these; the rest is analysed."""
    assert "protein_ar" in of_lot("ar_fffp", "contains")
    assert "not_protein_ar" in of_lot("ar_afff", "contains")
