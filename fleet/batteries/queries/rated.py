"""A device type's rated runtimes as the core wants them."""

import numpy as np

from fleet.core.battery.runtime import RatedRuntimes
from fleet.registry.models import DeviceType


def rated_table(device_type: DeviceType) -> RatedRuntimes:
    """The type's table, rates (mL/h) rising, hours of a new pack."""
    rows = sorted((float(row.rate), float(row.hours)) for row in device_type.rated_runtimes.all())
    return RatedRuntimes(np.array([rate for rate, _ in rows]), np.array([hours for _, hours in rows]))
