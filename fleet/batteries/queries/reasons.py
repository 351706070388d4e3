"""The advice about many packs with its reason, without a query for each of them."""

from typing import Any

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, Subquery, Value, When

from fleet.batteries.advising import Advised, LastFull, advised
from fleet.batteries.models import Forecast, RiskLimit, RuntimeTest
from fleet.batteries.queries.packs import FULL_TEST
from fleet.web import clock

_KIND = Case(
    When(device__home__critical=True, then=Value(RiskLimit.WardKind.CRITICAL)), default=Value(RiskLimit.WardKind.OTHER)
)


def with_reasons(rows: QuerySet[Forecast]) -> QuerySet[Forecast]:
    """The same forecasts with what `reason_of` needs: the latest full test, and whether somebody set their limit."""
    full = RuntimeTest.objects.filter(FULL_TEST, pack=OuterRef("pack"))
    latest = full.order_by("-started_at", "-pk")
    set_for = RiskLimit.objects.filter(
        Q(pool="") | Q(pool=OuterRef("device__pool")),
        Q(ward_kind=RiskLimit.WardKind.ANY) | Q(ward_kind=OuterRef("ward_kind")),
        dropped_at__isnull=True,
    )
    return rows.annotate(
        ward_kind=_KIND,
        last_full=Subquery(latest.values("pk")[:1]),
        last_full_at=Subquery(latest.values("started_at")[:1]),
        has_set_limit=Exists(set_for),
    )


def reason_of(row: Any) -> Advised | None:
    """The advice with its reason, of a forecast as `with_reasons` gives it; None when the night gave no advice."""
    last = LastFull(clock.local_day(row.last_full_at), row.last_full in row.doubtful) if row.last_full else None
    return advised(row, clock.today(), last, assumed_limit=not row.has_set_limit)
