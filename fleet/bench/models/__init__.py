"""Orders on the bench, procedures with steps, the readings taken, labour and parts."""

from fleet.bench.models.delivery import DeliveryLimit, DeliveryTest, FlowTest, OcclusionTest
from fleet.bench.models.orders import RECHECK, Order, OrderQuerySet, Recheck
from fleet.bench.models.procedures import OrderKind, Procedure, ProcedureVersion, Step, StepLimit
from fleet.bench.models.reference import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.bench.models.retirement import KeptPart, RetentionRule, Retirement, RetirementMethod, RetirementQuerySet
from fleet.bench.models.signing import Presence, Signature
from fleet.bench.models.spending import ExternalCost, KitLine, Labour, LabourClock, LabourRate, PackFitted, PartUse
from fleet.bench.models.team import Handover, TrainingTold
from fleet.bench.models.work import NOT_ASKED, Reading, ReadingFile

__all__ = [
    "NOT_ASKED",
    "RECHECK",
    "DeliveryLimit",
    "DeliveryTest",
    "ExternalCost",
    "FlowTest",
    "Handover",
    "KeptPart",
    "KitLine",
    "Labour",
    "LabourClock",
    "LabourRate",
    "LimitPolicy",
    "LimitProfile",
    "OcclusionTest",
    "Order",
    "OrderKind",
    "OrderQuerySet",
    "PackFitted",
    "PartUse",
    "Presence",
    "Procedure",
    "ProcedureVersion",
    "Reading",
    "ReadingFile",
    "Recheck",
    "ReferenceLimit",
    "RetentionRule",
    "Retirement",
    "RetirementMethod",
    "RetirementQuerySet",
    "Signature",
    "Step",
    "StepLimit",
    "TrainingTold",
]
