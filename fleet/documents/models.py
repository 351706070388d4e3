"""The library of documents: manuals, certificates, photos, and what each is about."""

from typing import Final, Self

from django.core.validators import URLValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q

from fleet.bench.models import Procedure
from fleet.people.models import Person
from fleet.people.scope import PlacedQuerySet, place_paths
from fleet.registry.models import Device, DeviceType, Party
from fleet.schedules.models import Plan
from fleet.stores.models import Instrument
from fleet.web.uploads import StoredFile

#: What a document may be about: fields of `Document`, in the order in which they are told.
SUBJECTS: Final = ("device_type", "device", "procedure", "instrument", "party", "plan")
_ABOUT_NOTHING: Final = Q(**{f"{name}__isnull": True for name in SUBJECTS})


class DocumentQuerySet(PlacedQuerySet["Document"]):
    """Documents. About a driver or an instrument, they are seen by whoever sees that; all others by everybody."""

    def within(self, person: Person) -> Self:
        """Only those about nothing that lies outside the person's places."""
        if place_paths(person) is None:
            return self
        drivers, instruments = Device.objects.within(person), Instrument.objects.within(person)
        return self.filter(
            Q(device__isnull=True) | Q(device__in=drivers.order_by().values("pk")),
            Q(instrument__isnull=True) | Q(instrument__in=instruments.order_by().values("pk")),
        )

    def with_newer(self) -> Self:
        """Each with `replaced`: whether a later edition stands in its place."""
        later = Document.objects.filter(replaces=OuterRef("pk"), withdrawn_at__isnull=True)
        return self.annotate(replaced=Exists(later))

    def in_force(self) -> Self:
        """Only those that are neither withdrawn nor replaced by a later edition."""
        return self.with_newer().filter(replaced=False, withdrawn_at__isnull=True)


class Document(models.Model):
    """One edition of a document. Nothing is deleted: a later edition replaces it, a mistake is withdrawn."""

    class Kind(models.TextChoices):
        MANUAL = "manual", "Maker's manual"
        CERTIFICATE = "certificate", "Certificate or declaration"
        PHOTO = "photo", "Photo"
        HOUSE = "house", "The house's own procedure or policy"
        EVIDENCE = "evidence", "Evidence for a decision"
        OTHER = "other", "Something else"

    title = models.CharField(max_length=160)
    kind = models.CharField(max_length=12, choices=Kind)
    edition = models.CharField("edition or revision", max_length=60, blank=True)
    dated_on = models.DateField("date on it", null=True, blank=True)
    language = models.CharField(max_length=40, blank=True)
    address = models.URLField(
        "web address", max_length=400, blank=True, validators=[URLValidator(schemes=["http", "https"])]
    )
    device_type = models.ForeignKey(DeviceType, models.PROTECT, null=True, blank=True, related_name="documents")
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="documents")
    procedure = models.ForeignKey(Procedure, models.PROTECT, null=True, blank=True, related_name="documents")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="documents")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="documents")
    plan = models.ForeignKey(Plan, models.PROTECT, null=True, blank=True, related_name="documents")
    replaces = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="later")
    added_at = models.DateTimeField()
    added_by_name = models.CharField("added by", max_length=120)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by_name = models.CharField("withdrawn by", max_length=120, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    objects = DocumentQuerySet.as_manager()

    class Meta:
        ordering = ["title", "-dated_on", "-id"]
        constraints = [
            models.CheckConstraint(name="document_is_about_something", condition=~_ABOUT_NOTHING),
            models.CheckConstraint(
                name="document_withdrawn_with_reason", condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_why="")
            ),
            models.UniqueConstraint(
                fields=["replaces"], name="document_replaced_once", condition=Q(withdrawn_at__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, {self.edition}" if self.edition else self.title


class DocumentFile(StoredFile):
    """The file of a document that is kept here. Never changed: another file is another edition."""

    document = models.OneToOneField(Document, models.PROTECT, related_name="file")
