"""What is typed in about instruments, parts and stock. The actions save it."""

from fleet.stores.forms.instruments import CalibrationForm, InstrumentForm, WhyForm
from fleet.stores.forms.parts import (
    CountForm,
    DeliveryForm,
    MoveForm,
    OrderedForm,
    PartForm,
    SaveForm,
    ScrapForm,
    ShelfForm,
)

__all__ = [
    "CalibrationForm",
    "CountForm",
    "DeliveryForm",
    "InstrumentForm",
    "MoveForm",
    "OrderedForm",
    "PartForm",
    "SaveForm",
    "ScrapForm",
    "ShelfForm",
    "WhyForm",
]
