"""The rooms, bottom to top, for Django's loader. Each room keeps its own models."""

import fleet.accessories.models
import fleet.alerts.models
import fleet.audit.models
import fleet.batteries.models
import fleet.bench.models
import fleet.contracts.models
import fleet.deliveries.models
import fleet.documents.models
import fleet.exchange.models
import fleet.jobs.models
import fleet.libraries.models
import fleet.loans.models
import fleet.notices.models
import fleet.people.models
import fleet.registry.models
import fleet.reports.models
import fleet.rounds.models
import fleet.schedules.models
import fleet.staff.models
import fleet.stores.models
import fleet.tags.models

__all__ = ["fleet"]
