"""What the packs of a driver tell of its use: the charge cycles made in it, for plans that count them."""

from collections.abc import Collection

from fleet.batteries.models import Fitting
from fleet.batteries.queries.packs import cycles_made_in
from fleet.schedules.actions import note_cycles
from fleet.schedules.models import Plan


def tell_use(pack_ids: Collection[int]) -> None:
    """Tell the schedules the charge cycles made in the drivers that hold these packs, where a plan counts them."""
    counting = Plan.objects.filter(active=True, every_cycles__isnull=False).values("device_type")
    held = Fitting.objects.filter(pack__in=pack_ids, removed_on=None, device__device_type__in=counting)
    for fitting in held.select_related("device"):
        total, on = cycles_made_in(fitting.device)
        if on is not None:
            note_cycles(fitting.device, total, on)
