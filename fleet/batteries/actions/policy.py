"""What the hospital decides about its batteries: risk limits, how packs are bought, how long a chemistry lasts."""

from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.batteries.models import ChemistryLife, Forecast, PackSupply, RiskLimit
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.jobs.actions import enqueue
from fleet.registry.actions.reference import refuse_wrong, with_values
from fleet.registry.models import DeviceType
from fleet.web import clock

#: What `change_limit` may change. The pool and the kind of ward say which limit it is.
LIMIT_FACTS: Final = frozenset(
    {"limit", "failure_price", "test_price", "may_skip_tests", "longest_untested_months", "why"}
)
SUPPLY_FACTS: Final = frozenset({"lead_days", "service_level", "multiple", "price"})
LIFE_FACTS: Final = frozenset({"life_years", "source", "edition"})
#: The kind of job that works the forecasts out.
FORECASTS: Final = "refresh_forecasts"


@transaction.atomic
def set_limit(pool: str, ward_kind: str, facts: Mapping[str, Any], *, by: Actor) -> RiskLimit:
    """Set the limit of a pool (empty: any) and a kind of ward. Raises BadValueError where one stands already."""
    by.must(May.SET_RISK_LIMITS)
    row = RiskLimit(pool=pool, ward_kind=ward_kind, **facts, set_by=by.name[:120], set_at=clock.now())
    if RiskLimit.objects.filter(pool=pool, ward_kind=ward_kind, dropped_at__isnull=True).exists():
        raise BadValueError("A limit for these drivers stands already. Change that one.", field="pool")
    refuse_wrong(row)
    row.save()
    record(Happening("set risk limit", row, after=dict(facts), why=row.why), by=by)
    _forecast_anew()
    return row


@transaction.atomic
def change_limit(limit: RiskLimit, facts: Mapping[str, Any], *, by: Actor, opened: str | None = None) -> RiskLimit:
    """Change a limit that stands. `opened`: the fingerprint of LIMIT_FACTS that its form was opened with."""
    by.must(May.SET_RISK_LIMITS)
    row = _standing(limit)
    refuse_changed(row, LIMIT_FACTS, opened)
    refuse_wrong(with_values(row, facts))
    before, after = change(row, **facts)
    if after:
        change(row, set_by=by.name[:120], set_at=clock.now())
        record(Happening("changed risk limit", row, before=before, after=after, why=row.why), by=by)
        _forecast_anew()
    return row


@transaction.atomic
def drop_limit(limit: RiskLimit, *, why: str, by: Actor) -> RiskLimit:
    """Let a limit hold no longer. It stays on record with the moment; the next wider one takes over."""
    by.must(May.SET_RISK_LIMITS)
    row = _standing(limit)
    if not why.strip():
        raise BadValueError("Say why it holds no longer.", field="why")
    before, after = change(row, dropped_at=clock.now())
    record(Happening("dropped risk limit", row, before=before, after=after, why=why), by=by)
    _forecast_anew()
    return row


def _forecast_anew() -> None:
    """Raise the job that works the forecasts out, once there are any: advice should not wait for the night."""
    if Forecast.objects.exists():
        enqueue(FORECASTS, key=f"{FORECASTS}:decided:{clock.now().isoformat()}")


def _standing(limit: RiskLimit) -> RiskLimit:
    row = RiskLimit.objects.select_for_update().get(pk=limit.pk)
    if row.dropped_at:
        raise BadValueError("This limit was dropped already. Set a new one.")
    return row


@transaction.atomic
def set_supply(
    device_type: DeviceType, facts: Mapping[str, Any], *, by: Actor, opened: str | None = None
) -> PackSupply:
    """State how a type's packs are bought. `opened`: the fingerprint of SUPPLY_FACTS that its form was opened with."""
    by.must(May.KEEP_STORE)
    # Locked, so that two who state it first come one after the other.
    owner = DeviceType.objects.select_for_update(of=("self",)).get(pk=device_type.pk)
    row = PackSupply.objects.filter(device_type=owner).first() or PackSupply(device_type=owner)
    refuse_changed(row, SUPPLY_FACTS, opened)
    changed = with_values(row, facts)
    changed.set_by, changed.set_at = by.name[:120], clock.now()
    refuse_wrong(changed)
    before = {name: getattr(row, name) for name in facts if row.pk and getattr(row, name) != facts[name]}
    after = {name: value for name, value in facts.items() if not row.pk or getattr(row, name) != value}
    if after:
        changed.save()
        record(Happening("stated supply of packs", changed, before=before, after=after), by=by)
        if "price" in after:
            _forecast_anew()
    return changed


@transaction.atomic
def set_chemistry_life(
    chemistry: str, facts: Mapping[str, Any], *, verified: bool, by: Actor, opened: str | None = None
) -> ChemistryLife:
    """State how long packs of a chemistry are taken to last, and from which source.

    `verified`: the person has checked the value against that source, and the row says so with name and day. A value
    or source that changes without it counts as not verified. `opened`: the fingerprint of LIFE_FACTS of its form.
    """
    by.must(May.SET_RISK_LIMITS)
    row = ChemistryLife.objects.select_for_update().filter(chemistry=chemistry).first()
    row = row or ChemistryLife(chemistry=chemistry)
    refuse_changed(row, LIFE_FACTS, opened)
    trial = with_values(row, {**facts, **_verification(row, facts, by, verified=verified)})
    refuse_wrong(trial)
    names = ("life_years", "source", "edition", "verified_by", "verified_on")
    differs = [name for name in names if not row.pk or getattr(row, name) != getattr(trial, name)]
    if differs:
        before = {name: getattr(row, name) for name in differs if row.pk}
        trial.save()
        after = {name: getattr(trial, name) for name in differs}
        record(Happening("stated life of a chemistry", trial, before=before, after=after), by=by)
        _forecast_anew()
    return trial


def _verification(row: ChemistryLife, facts: Mapping[str, Any], by: Actor, *, verified: bool) -> dict[str, Any]:
    if verified:
        return {"verified_by": by.name[:120], "verified_on": clock.today()}
    same = row.pk and all(getattr(row, name) == value for name, value in facts.items())
    return {} if same else {"verified_by": "", "verified_on": None}
