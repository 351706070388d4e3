"""What is typed in about packs and runtime tests."""

from fleet.batteries.forms.packs import CyclesForm, FitForm, PackForm, RemoveForm, ScrapForm, VoidForm
from fleet.batteries.forms.policy import (
    DropForm,
    LifeForm,
    LimitForm,
    NewLifeForm,
    NewLimitForm,
    PurchaseForm,
    SupplyForm,
)
from fleet.batteries.forms.rack import PLACES, Rack
from fleet.batteries.forms.runtime import RunForm

__all__ = [
    "PLACES",
    "CyclesForm",
    "DropForm",
    "FitForm",
    "LifeForm",
    "LimitForm",
    "NewLifeForm",
    "NewLimitForm",
    "PackForm",
    "PurchaseForm",
    "Rack",
    "RemoveForm",
    "RunForm",
    "ScrapForm",
    "SupplyForm",
    "VoidForm",
]
