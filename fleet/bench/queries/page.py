"""One order as its page, its finishing page and its printed sheet show it."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property

from django.db.models import Sum

from fleet.accessories.models import Missing
from fleet.accessories.queries import missing_of
from fleet.alerts.models import Alert
from fleet.alerts.queries import open_alerts
from fleet.bench.models import (
    ExternalCost,
    FlowTest,
    Handover,
    Labour,
    LabourClock,
    OcclusionTest,
    Order,
    OrderKind,
    OrderQuerySet,
    PartUse,
    Reading,
    Step,
    TrainingTold,
)
from fleet.bench.queries.again import AGAIN_DAYS, repaired_before
from fleet.bench.queries.before import work_before
from fleet.bench.queries.clocks import clocks_on, minutes_shown
from fleet.bench.queries.computing import Computed, computed, measured_for
from fleet.bench.queries.costs import Cost, cost_of
from fleet.bench.queries.facts import (
    Standing,
    facts,
    harm_linked,
    in_words,
    no_work,
    open_orders,
    open_quarantine,
    standing,
    value_in_words,
)
from fleet.bench.queries.failing import FAILED
from fleet.bench.queries.flow import flow_tests, occlusion_tests
from fleet.bench.queries.judged import Course, Judged, courses, judged_words
from fleet.bench.queries.judging import Judges, Way
from fleet.bench.queries.kits import kit_wanted
from fleet.bench.queries.nearness import nearness
from fleet.bench.queries.signing import Signed, signatures
from fleet.bench.queries.team import handover_of, training_now, training_told
from fleet.contracts.models import Contract
from fleet.contracts.queries import covering
from fleet.core.calibration import Guarded
from fleet.core.lifecycle import Move, unmet
from fleet.core.orders import OrderState
from fleet.core.safety import Context
from fleet.schedules.models import Due
from fleet.schedules.queries import dues_of
from fleet.staff.queries import in_words as in_words_of
from fleet.stores.models import Part
from fleet.tags.models import Quarantine, Tag, TagReport
from fleet.web import clock

EARLIER = 3


@dataclass(frozen=True, slots=True)
class Line:
    """A step with the answer that counts, and the answers that counted before it, the newest first."""

    step: Step
    reading: Reading | None
    earlier: tuple[Reading, ...]
    judges: Judges
    computed: Computed | None = None
    measured: tuple[Reading, ...] = ()

    @property
    def instruments(self) -> list[Reading]:
        """What its value was measured with, each instrument once, by a reading that names it."""
        named = [each for each in (self.reading, *self.measured) if each is not None and each.instrument is not None]
        return list({each.instrument_id: each for each in named}.values())

    @property
    def judged(self) -> Judged | None:
        """What judged the value that was answered; None where there is none."""
        return judged_words(self.reading) if self.reading and self.reading.value is not None else None

    @property
    def ways(self) -> list[Way]:
        """The limits by which an answer would be judged now, by method where they depend on it."""
        return self.judges.ways(self.step, self.judges.context(self.step, Context()))

    @property
    def limits(self) -> str:
        """The limits in words, those that judged where there is an answer; empty where there are none."""
        if self.judged is not None:
            return self.judged.limits
        return "; ".join(way.words for way in self.ways if way.effective)

    @property
    def value_words(self) -> str:
        """The value that was answered, as typed, with its unit; empty where there is none."""
        return value_in_words(self.reading) if self.reading else ""

    @property
    def in_doubt(self) -> bool:
        """Whether the instrument's uncertainty leaves open if the value lies within its limits."""
        near = nearness(self.reading) if self.reading else None
        return near is not None and near.guarded is Guarded.CANNOT_TELL

    @property
    def failed_before(self) -> list[Reading]:
        """The answers at a step that must pass which failed and count no more."""
        return [each for each in self.earlier if each.verdict in FAILED] if self.step.required else []

    @property
    def earlier_in_words(self) -> list[tuple[Reading, str]]:
        """The answers that count no more, each with its words."""
        return [(each, in_words(each)) for each in self.earlier]

    @property
    def saved(self) -> str:
        """The answer in words, empty where there is none."""
        return in_words(self.reading) if self.reading else ""


class OrderPage:
    """What the pages of one order ask for; each part is read once, when a page first asks."""

    def __init__(self, order: Order) -> None:
        """Take an order with its device at hand (see `orders`)."""
        self.order = order
        self.device = order.device

    @cached_property
    def judges(self) -> Judges:
        """What judges its readings."""
        return Judges(self.device)

    @cached_property
    def lines(self) -> list[Line]:
        """Every step, in order."""
        if self.order.procedure_version_id is None:
            return []
        latest: dict[int, Reading] = {}
        earlier: dict[int, list[Reading]] = {}
        for reading in self._readings:
            if reading.latest:
                latest[reading.step_id] = reading
            else:
                earlier.setdefault(reading.step_id, []).append(reading)
        steps = list(Step.objects.filter(version_id=self.order.procedure_version_id).prefetch_related("limits"))
        return [self._line(step, steps, latest, earlier.get(step.pk, [])) for step in steps]

    def _line(self, step: Step, steps: list[Step], latest: dict[int, Reading], earlier: list[Reading]) -> Line:
        reading = latest.get(step.pk)
        if self.order.procedure_version is not None:
            step.version = self.order.procedure_version
        # What judges the readings is read once for all lines.
        for each in filter(None, [reading, *earlier]):
            each.step, each.order = step, self.order
        worked = computed(step, steps, latest) if step.kind == Step.Kind.COMPUTED else None
        measured = measured_for(reading, steps, self._readings) if reading and worked else ()
        return Line(step, reading, tuple(earlier), self.judges, worked, tuple(measured))

    @cached_property
    def _readings(self) -> list[Reading]:
        """Every answer, also those that count no more."""
        return list(self.order.readings.select_related("by", "instrument", "file").defer("file__content"))

    @property
    def failed_before(self) -> list[Line]:
        """The steps that failed at first, as whoever signs has to know."""
        return [line for line in self.lines if line.failed_before]

    def line(self, position: int | None) -> Line | None:
        """The step at a position; without one, the first that is not answered."""
        if position is not None:
            return next((line for line in self.lines if line.step.position == position), None)
        return next((line for line in self.lines if line.reading is None), None)

    @cached_property
    def answered(self) -> int:
        """How many steps have an answer of somebody's."""
        return sum(line.reading is not None and not line.reading.passed_over for line in self.lines)

    @cached_property
    def asked(self) -> int:
        """How many steps are asked for, or were answered all the same."""
        return sum(line.reading is None or not line.reading.passed_over for line in self.lines)

    @cached_property
    def standing(self) -> Standing:
        """How the required steps stand."""
        return standing(self.order)

    @cached_property
    def refusal(self) -> str:
        """Why no step may be answered now; empty when work may go on."""
        if self.order.state in {OrderState.DONE.value, OrderState.CANCELLED.value}:
            return f"This order is {self.order.get_state_display().lower()}. It is kept as it is."
        if words := no_work(self.device, self.order):
            return words
        if self.order.state != OrderState.STARTED.value:
            return (
                f"This order is {self.order.get_state_display().lower()}. Take it up again before a step is answered."
            )
        return ""

    @cached_property
    def against_return(self) -> tuple[str, ...]:
        """What still stands against returning the driver to service with this order; empty when nothing does."""
        return unmet(Move.RETURN, facts(self.device, self.order))

    @cached_property
    def missing(self) -> list[Missing]:
        """The accessories that its driver lacks, which whoever sends it out must know."""
        return list(missing_of(self.order.device))

    @cached_property
    def others(self) -> list[Order]:
        """Other open orders on the same driver."""
        return list(open_orders(self.device).exclude(pk=self.order.pk))

    @cached_property
    def quarantine(self) -> Quarantine | None:
        """The open quarantine."""
        return open_quarantine(self.device)

    @cached_property
    def harm(self) -> bool:
        """Whether somebody was harmed or might have been."""
        return harm_linked(self.order)

    @cached_property
    def new_tag(self) -> Tag | None:
        """A tag raised while the driver was here, which this order does not answer."""
        tags = Tag.objects.filter(device=self.device, cleared_at__isnull=True)
        return tags.exclude(pk=self.order.tag_id).first() if self.order.tag_id else tags.first()

    @cached_property
    def reports(self) -> list[TagReport]:
        """What the ward reported."""
        return list(self.order.tag.reports.all()) if self.order.tag else []

    @cached_property
    def alerts(self) -> list[Alert]:
        """What the driver raised and nobody has answered."""
        return list(open_alerts(self.device))

    @cached_property
    def dues(self) -> list[Due]:
        """What is due on it next."""
        return list(dues_of(self.device))

    @cached_property
    def covers(self) -> list[Contract]:
        """The contracts that cover its driver today: whom a fault goes to."""
        return covering(self.device, clock.today())

    @cached_property
    def warranty(self) -> date | None:
        """The last day of its driver's own warranty, while that is in force."""
        until = self.device.warranty_until
        return until if until and until >= clock.today() else None

    @cached_property
    def earlier(self) -> list[Order]:
        """The last orders finished on this driver, newest first: a fault soon after work is worth a second look."""
        done = Order.objects.filter(device=self.device, state=OrderState.DONE.value).exclude(pk=self.order.pk)
        return list(done.select_related("completed_by").order_by("-completed_at")[:EARLIER])

    @cached_property
    def repaired_before(self) -> list[Order]:
        """The repairs of its driver shortly before this one was reported, the last first."""
        return repaired_before(self.order)

    @property
    def again_days(self) -> int:
        """Within how many days a repair counts as one before."""
        return AGAIN_DAYS

    @cached_property
    def work_before(self) -> Order | None:
        """The work shortly before this repair's fault, which may have caused it; None where there was none."""
        return work_before(self.order) if self.is_open else self.order.work_before

    @cached_property
    def courses(self) -> list[Course]:
        """How the driver's safety tests went so far."""
        return courses(self.device)

    @cached_property
    def flow_tests(self) -> list[FlowTest]:
        """Flow tests, newest first, also the voided."""
        return list(flow_tests().filter(order=self.order))

    @cached_property
    def occlusion_tests(self) -> list[OcclusionTest]:
        """Occlusion tests, newest first, also the voided."""
        return list(occlusion_tests().filter(order=self.order))

    @cached_property
    def labour(self) -> list[Labour]:
        """Minutes, by entry."""
        return list(self.order.labour.select_related("person"))

    @cached_property
    def minutes(self) -> int:
        """Minutes in all."""
        return int(self.order.labour.aggregate(total=Sum("minutes"))["total"] or 0)

    @cached_property
    def parts(self) -> list[PartUse]:
        """Parts used."""
        return list(self.order.parts.select_related("stock__shelf__place", "part"))

    @cached_property
    def kit_wanted(self) -> list[tuple[Part, int]]:
        """What is left to issue of the kit of its procedure."""
        return kit_wanted(self.order)

    @cached_property
    def clocks(self) -> list[tuple[LabourClock, int]]:
        """The clocks that run on it, each with the minutes it shows now."""
        now = clock.now()
        return [(row, minutes_shown(row, now)) for row in clocks_on(self.order)]

    @cached_property
    def cost(self) -> Cost:
        """What it has cost so far."""
        return cost_of(self.order)

    @cached_property
    def external(self) -> list[ExternalCost]:
        """What others were paid, also what counts no more."""
        return list(self.order.external_costs.select_related("provider"))

    @cached_property
    def signed(self) -> list[Signed]:
        """The signatures under it, each held against the record as it is now."""
        return signatures(self.order)

    @cached_property
    def handover(self) -> Handover | None:
        """How it was given to whose it is."""
        return handover_of(self.order)

    @cached_property
    def training_told(self) -> list[TrainingTold]:
        """What was told of the training of each who worked on it."""
        return training_told(self.order)

    @cached_property
    def training_now(self) -> str:
        """What is on record today of the training of whose it is, until that is told; in words, else empty."""
        told = {row.person_id for row in self.training_told}
        held = None if self.order.assigned_to_id in told else training_now(self.order, clock.today())
        return in_words_of(held) if held and self.is_open else ""

    @property
    def is_open(self) -> bool:
        """Whether it is raised, started or waiting."""
        return self.order.state not in {OrderState.DONE.value, OrderState.CANCELLED.value}

    @property
    def answers_alerts(self) -> list[Alert]:
        """The alerts that finishing this order answers."""
        if self.order.asked:
            return []
        if self.order.kind in {OrderKind.CORRECTIVE, OrderKind.PLANNED}:
            return self.alerts
        return [alert for alert in self.alerts if alert.kind.about_battery and self.order.kind == OrderKind.BATTERY]


def order_page(order: Order) -> OrderPage:
    """What the pages of one order ask for."""
    return OrderPage(order)


def orders() -> OrderQuerySet:
    """All orders with what a page shows of them."""
    rows: OrderQuerySet = Order.objects.select_related(
        "device__device_type__maker",
        "device__home__site",
        "device__place",
        "device__supplier",
        "tag",
        "due__plan",
        "procedure_version__procedure",
        "bench",
        "assigned_to",
        "work_before",
        "completed_by",
        "returned_to",
    )
    return rows
