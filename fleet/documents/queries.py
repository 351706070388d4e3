"""Reading the library: all documents, those about one thing, and those that words name."""

from typing import Final

from django.db.models import Model, Q

from fleet.bench.models import Order, Procedure
from fleet.documents.models import SUBJECTS, Document, DocumentQuerySet
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Party
from fleet.schedules.models import Plan
from fleet.stores.models import Calibration, Instrument

#: How many calibration certificates stand below the documents.
CERTIFICATES: Final = 10
_OF: Final[dict[type[Model], str]] = {
    DeviceType: "device_type", Procedure: "procedure", Instrument: "instrument", Party: "party", Plan: "plan",
}  # fmt: skip
_SEARCHED: Final = (
    "title", "edition", "device_type__model", "device_type__maker__name", "device__asset_number", "procedure__name",
    "instrument__number", "instrument__name", "party__name", "plan__name",
)  # fmt: skip


def documents(person: Person) -> DocumentQuerySet:
    """The documents that the person may know of, with what a list shows of them; `replaced` by a later edition."""
    rows: DocumentQuerySet = Document.objects.within(person).with_newer().select_related(
        *SUBJECTS, "device_type__maker", "file", "plan__device_type__maker"
    ).defer("file__content")  # fmt: skip
    return rows


def about(subject: Model, person: Person) -> DocumentQuerySet:
    """The documents in force about a type, procedure, instrument, company or plan; of a driver, its type's as well.

    Of an order: those of its driver, its type and its procedure.
    """
    return documents(person).in_force().filter(_concerns(subject))


def _concerns(subject: Model) -> Q:
    if isinstance(subject, Order):
        version = subject.procedure_version
        return _concerns(subject.device) | (Q(procedure=version.procedure_id) if version else Q(pk__in=[]))
    if isinstance(subject, Device):
        return Q(device=subject) | Q(device_type=subject.device_type_id)
    return Q(**{_OF[type(subject)]: subject.pk})


def naming(rows: DocumentQuerySet, text: str) -> DocumentQuerySet:
    """Those of which every word stands in the title, the edition or the name of what they are about."""
    for word in text.split():
        found = Q()
        for lookup in _SEARCHED:
            found |= Q(**{f"{lookup}__icontains": word})
        rows = rows.filter(found)
    return rows


def certificates(person: Person, text: str) -> list[Calibration]:
    """The newest calibration certificates of the person's instruments, which the stores keep."""
    rows = Calibration.objects.filter(
        voided_at__isnull=True, instrument__in=Instrument.objects.within(person).order_by().values("pk")
    )
    for word in text.split():
        rows = rows.filter(
            Q(certificate__icontains=word) | Q(instrument__number__icontains=word) | Q(instrument__name__icontains=word)
        )
    return list(rows.select_related("instrument")[:CERTIFICATES])
