from itm.records.models.along import Along
from itm.records.models.bench import Bench, Bottle, Reading
from itm.records.models.concentrate import (
    ConcentrateCheck,
    ConcentrateSample,
    LaboratoryReport,
    SampleValue,
)
from itm.records.models.direct import DirectRun, DirectSetup
from itm.records.models.effluent import EffluentLine
from itm.records.models.inspections import Inspection, InspectionLine
from itm.records.models.kept import Evaluation, Move, Record, Seal
from itm.records.models.latest import LatestRecord
from itm.records.models.past import PastBundle, PastResult, PastWithdrawal
from itm.records.models.past_checks import PastCheckLine
from itm.records.models.past_inspections import PastInspection
from itm.records.models.photos import Photo
from itm.records.models.tests import FlowRun, FlushStep, ProportioningTest
from itm.records.models.visits import DeviceClock, Notice, RestorationLine, Visit
from itm.records.models.witnesses import Witness

__all__ = [
    "Along",
    "Bench",
    "Bottle",
    "ConcentrateCheck",
    "ConcentrateSample",
    "DeviceClock",
    "DirectRun",
    "DirectSetup",
    "EffluentLine",
    "Evaluation",
    "FlowRun",
    "FlushStep",
    "Inspection",
    "InspectionLine",
    "LaboratoryReport",
    "LatestRecord",
    "Move",
    "Notice",
    "PastBundle",
    "PastCheckLine",
    "PastInspection",
    "PastResult",
    "PastWithdrawal",
    "Photo",
    "ProportioningTest",
    "Reading",
    "Record",
    "RestorationLine",
    "SampleValue",
    "Seal",
    "Visit",
    "Witness",
]
