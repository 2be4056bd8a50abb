from itm.findings.models.asking import Answer, Order, Question
from itm.findings.models.clocks import ClockAdoption, NoticeClock
from itm.findings.models.deficiencies import Deficiency
from itm.findings.models.impairments import ImpairedSystem, Impairment
from itm.findings.models.lives import Step

__all__ = [
    "Answer",
    "ClockAdoption",
    "Deficiency",
    "ImpairedSystem",
    "Impairment",
    "NoticeClock",
    "Order",
    "Question",
    "Step",
]
