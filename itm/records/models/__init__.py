from itm.records.models.bench import Bench, Bottle, Reading
from itm.records.models.inspections import Inspection, InspectionLine
from itm.records.models.kept import Evaluation, Move, Seal
from itm.records.models.latest import LatestRecord
from itm.records.models.tests import FlowRun, FlushStep, ProportioningTest
from itm.records.models.visits import DeviceClock, Notice, RestorationLine, Visit

__all__ = [
    "Bench",
    "Bottle",
    "DeviceClock",
    "Evaluation",
    "FlowRun",
    "FlushStep",
    "Inspection",
    "InspectionLine",
    "LatestRecord",
    "Move",
    "Notice",
    "ProportioningTest",
    "Reading",
    "RestorationLine",
    "Seal",
    "Visit",
]
