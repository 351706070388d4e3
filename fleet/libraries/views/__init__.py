"""Pages about drug libraries."""

from fleet.libraries.views.coverage import coverage, drivers, scan
from fleet.libraries.views.library import library, new, release, require, withdraw

__all__ = ["coverage", "drivers", "library", "new", "release", "require", "scan", "withdraw"]
