"""What the night expects: of each fitted pack, of each type of pack, and how good such forecasts have been."""

from django.db import models
from django.db.models import Q

from fleet.batteries.models.packs import Pack
from fleet.core.battery.decision import Advice
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType


class ForecastQuerySet(PlacedQuerySet["Forecast"]):
    """Forecasts, seen with the device the pack is in."""

    path_lookups = ("device__home__path", "device__place__path")


class Forecast(models.Model):
    """What the last nightly run expects of a fitted pack. Replaced each night; the tests it rests on stay."""

    class Basis(models.TextChoices):
        OWN_TESTS = "own", "From its own tests and its type"
        TYPE_ONLY = "type", "From its type only: this pack was never tested"
        BORROWED = "kin", "From other types: too little is measured of this one"
        ASSUMED = "guess", "From what is assumed of its chemistry: nothing was measured"
        NOT_ENOUGH = "none", "Not enough data"

    pack = models.OneToOneField(Pack, models.PROTECT, related_name="forecast")
    device = models.ForeignKey(Device, models.PROTECT, related_name="forecasts")
    made_at = models.DateTimeField()
    basis = models.CharField(max_length=5, choices=Basis)
    why_not = models.CharField("why there is no number", max_length=200, blank=True)
    tests_used = models.PositiveSmallIntegerField(default=0)
    fraction_today = models.FloatField(null=True)
    fraction_sd = models.FloatField(null=True)
    level = models.DecimalField(max_digits=4, decimal_places=3)
    already_below = models.BooleanField(default=False)
    # What a page must say beside the numbers (core.battery.forecast tells what each means).
    last_test_below = models.BooleanField("below by its latest test", default=False)
    bound_contradicted = models.BooleanField("ran longer than is expected of it", default=False)
    has_set_aside = models.BooleanField("has a test that fits neither it nor its type", default=False)
    crossing_on = models.DateField("expected crossing", null=True)
    crossing_early = models.DateField("80 % interval from", null=True)
    crossing_late = models.DateField("80 % interval to", null=True)
    next_visit = models.DateField(null=True)
    chance_before_visit = models.FloatField(null=True)
    following_visit = models.DateField("the visit after the next", null=True)
    chance_before_following = models.FloatField(null=True)
    chance_uncorrected = models.FloatField("chance before the next visit, before recalibration", null=True)
    # The advice (core.battery.decision) with what it rests on.
    advice = models.CharField(max_length=12, choices=[(advice.value, advice.label) for advice in Advice], blank=True)
    limit = models.FloatField("risk limit in force", null=True)
    limit_by_cost = models.BooleanField("the limit follows from prices", default=False)
    # What one more full test now would settle (core.battery.worth).
    test_worth = models.FloatField("share of the limit that a test saves", null=True)
    test_clears_at = models.FloatField("fraction from which a test lets it wait", null=True)
    test_clears_chance = models.FloatField("chance that a test shows that", null=True)
    has_jump = models.BooleanField("has a test far above what its earlier ones allow", default=False)
    jumps = models.JSONField("tests (ids) that jump up", default=list)
    doubtful = models.JSONField("tests (ids) that were set aside as likely wrong", default=list)
    curve = models.JSONField("dates with 10, 50 and 90 % fractions, for the plot", default=list)

    objects = ForecastQuerySet.as_manager()

    class Meta:
        ordering = ["crossing_on"]
        constraints = [
            models.CheckConstraint(
                name="forecast_no_number_without_data",
                condition=~Q(basis="none")
                | (
                    Q(fraction_today__isnull=True, crossing_on__isnull=True, chance_before_visit__isnull=True)
                    & ~Q(why_not="")
                ),
            )
        ]
        indexes = [
            models.Index(fields=["chance_before_visit"], name="forecast_by_chance"),
            models.Index(fields=["advice", "-test_worth"], name="forecast_by_advice"),
        ]

    def __str__(self) -> str:
        return f"Forecast for {self.pack}"


class TypeOutlook(models.Model):
    """What the last nightly run expects of a type's packs as a whole. Replaced each night, like the forecasts.

    `numbers`: the fitted numbers for "how is this computed?". `new_life_*`: years until a new pack reaches the level.
    `demand`, `what_if`, `alarms`: see batteries.actions.outlooks, which writes them.
    """

    device_type = models.OneToOneField(DeviceType, models.PROTECT, related_name="battery_outlook")
    made_at = models.DateTimeField()
    basis = models.CharField(max_length=5, choices=Forecast.Basis)
    prior_source = models.CharField("what was assumed before any test", max_length=120)
    packs_tested = models.PositiveIntegerField(default=0)
    tests_used = models.PositiveIntegerField(default=0)
    packs_fitted = models.PositiveIntegerField(default=0)
    new_life_low = models.FloatField("1 in 10 new packs lasts less, years", null=True)
    new_life_middle = models.FloatField("half the new packs last less, years", null=True)
    new_life_high = models.FloatField("9 in 10 new packs last less, years", null=True)
    fade_first_year = models.FloatField("fraction that a new pack loses in its first year", null=True)
    numbers = models.JSONField(default=list)
    demand = models.JSONField(default=dict)
    what_if = models.JSONField(default=list)
    alarms = models.JSONField(default=list)
    correction_a = models.FloatField(default=1.0)
    correction_b = models.FloatField(default=1.0)
    correction_ranks = models.PositiveIntegerField("known crossings the correction rests on", default=0)

    class Meta:
        ordering = ["device_type"]

    def __str__(self) -> str:
        return f"Outlook for {self.device_type}"


class Backtest(models.Model):
    """How good the forecasts of a type (or of all, when empty) would have been at past dates. Each run is kept."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, null=True, blank=True, related_name="backtests")
    made_at = models.DateTimeField()
    first_origin = models.DateField("earliest date forecast from", null=True)
    last_origin = models.DateField("latest date forecast from", null=True)
    origins = models.PositiveSmallIntegerField(default=0)
    packs = models.PositiveIntegerField("packs scored", default=0)
    result = models.JSONField(default=dict)
    correction_a = models.FloatField(default=1.0)
    correction_b = models.FloatField(default=1.0)
    correction_ranks = models.PositiveIntegerField(default=0)
    why_not = models.CharField("why there is no score", max_length=200, blank=True)

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Backtest of {self.device_type or 'all types'}, {self.made_at:%d %b %Y}"
