"""Drug libraries: their versions, the version each place requires, and what each driver was last seen to carry."""

from django.db import models

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, Place


class Library(models.Model):
    """A named drug library."""

    name = models.CharField(max_length=60, unique=True)
    code = models.SlugField(max_length=20, unique=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "libraries"

    def __str__(self) -> str:
        return self.name


class LibraryVersion(models.Model):
    """A release of a library."""

    library = models.ForeignKey(Library, models.PROTECT, related_name="versions")
    number = models.CharField(max_length=20)
    released_on = models.DateField()
    withdrawn_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["library", "-released_on"]
        constraints = [models.UniqueConstraint(fields=["library", "number"], name="library_version_once")]

    def __str__(self) -> str:
        return f"{self.library} {self.number}"


class Requirement(models.Model):
    """From a date on, drivers at a place (and below it, unless that says otherwise) must carry this version."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="library_requirements")
    version = models.ForeignKey(LibraryVersion, models.PROTECT, related_name="requirements")
    from_day = models.DateField()

    class Meta:
        ordering = ["place", "-from_day"]
        constraints = [models.UniqueConstraint(fields=["place", "from_day", "version"], name="requirement_once")]

    def __str__(self) -> str:
        return f"{self.version} at {self.place} from {self.from_day}"


class CarriedQuerySet(PlacedQuerySet["Carried"]):
    """What drivers carry, seen with the driver."""

    path_lookups = ("device__home__path", "device__place__path")


class Carried(models.Model):
    """The library version a driver was last seen to carry, and when and how that was seen."""

    device = models.OneToOneField(Device, models.PROTECT, related_name="carried")
    version = models.ForeignKey(LibraryVersion, models.PROTECT, related_name="carried_by")
    seen_at = models.DateTimeField()
    seen_source = models.CharField(max_length=40)

    objects = CarriedQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "carried versions"

    def __str__(self) -> str:
        return f"{self.device} carries {self.version}"


class CoverageSnapshot(models.Model):
    """How many drivers at a place stood where with a library, on one day."""

    day = models.DateField()
    place = models.ForeignKey(Place, models.PROTECT, related_name="coverage")
    current = models.PositiveIntegerField()
    behind = models.PositiveIntegerField()
    unknown = models.PositiveIntegerField()
    not_seen = models.PositiveIntegerField()

    class Meta:
        ordering = ["-day", "place"]
        constraints = [models.UniqueConstraint(fields=["day", "place"], name="coverage_once_a_day")]

    def __str__(self) -> str:
        return f"{self.place} {self.day}"
