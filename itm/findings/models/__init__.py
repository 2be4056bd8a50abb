from itm.findings.models.asking import Answer, Order, Question
from itm.findings.models.authority_visits import AuthorityFile, AuthorityVisit
from itm.findings.models.clocks import ClockAdoption, NoticeClock
from itm.findings.models.deficiencies import Deficiency
from itm.findings.models.impairments import ImpairedSystem, Impairment
from itm.findings.models.lives import Step
from itm.findings.models.overdue import OverdueRule

__all__ = [
    "Answer",
    "AuthorityFile",
    "AuthorityVisit",
    "ClockAdoption",
    "Deficiency",
    "ImpairedSystem",
    "Impairment",
    "NoticeClock",
    "Order",
    "OverdueRule",
    "Question",
    "Step",
]
