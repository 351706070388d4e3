"""Reading the kits: what a procedure normally takes, what an order still wants of it, and where its parts come from."""

from django.db.models import F, QuerySet, Sum

from fleet.bench.models import KitLine, Order, Procedure
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.stores.models import Part


def kit_of(procedure: Procedure) -> QuerySet[KitLine]:
    """The lines of a procedure's kit that stand."""
    return procedure.kit.filter(dropped_at__isnull=True).select_related("part__maker").order_by("part__name")


def kit_wanted(order: Order) -> list[tuple[Part, int]]:
    """What an order still wants of its procedure's kit: the parts that fit its driver, less what is on the order.

    Nothing where only readings in doubt are measured again.
    """
    if order.procedure_version_id is None or order.asked:
        return []
    lines = KitLine.objects.filter(
        procedure__versions=order.procedure_version_id, dropped_at__isnull=True, part__dropped_on__isnull=True
    )
    rows = list(lines.select_related("part").prefetch_related("part__types").order_by("part__name"))
    held = order.parts.filter(part__in=[line.part_id for line in rows]) if rows else order.parts.none()
    has = dict(held.order_by().values_list("part").annotate(n=Sum(F("quantity") - F("returned"))))
    wanted = [(line.part, line.quantity - has.get(line.part_id, 0)) for line in rows if fits(line.part, order)]
    return [(part, quantity) for part, quantity in wanted if quantity > 0]


def fits(part: Part, order: Order) -> bool:
    """Whether a part fits the driver of an order: it names its type, or none."""
    types = {each.pk for each in part.types.all()}
    return not types or order.device.device_type_id in types


def issue_places(order: Order) -> list[Place]:
    """Where the parts of an order come from, the nearest first: its bench, then the other benches and stores there."""
    if order.bench is None:
        return []
    others = open_places(Place.Kind.STORE, Place.Kind.BENCH).filter(site=order.bench.site_id).exclude(pk=order.bench.pk)
    return [order.bench, *sorted(others, key=lambda place: place.kind != Place.Kind.STORE)]
