"""Reference limits: stated, verified by another person, replaced by a better one; and the policy of a place."""

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from django.conf import settings
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.bench.models import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.core.safety import Quantity
from fleet.core.units import symbol_of
from fleet.registry.actions.reference import refuse_wrong, with_values
from fleet.registry.models import Place
from fleet.web import clock

SEEDS: Final = "fixtures/reference_limits.toml"
#: What says which limit it is.
WHICH: Final = ("profile", "quantity", "protection", "applied_part", "method")
#: What it says.
SAYS: Final = ("low", "high", "unit", "source", "edition", "note")
POLICY_FACTS: Final = ("profile", "acceptance", "jump_share", "unnamed")


@transaction.atomic
def add_profile(name: str, code: str, note: str = "", *, by: Actor) -> LimitProfile:
    """Add a set of limits that a site may work by. Refused where one has this name or code."""
    by.must(May.EDIT_REGISTRY)
    profile = LimitProfile(name=name.strip(), code=code, note=note.strip())
    refuse_wrong(profile)
    profile.save()
    record(Happening("added limit profile", profile, after={"name": profile.name, "note": profile.note}), by=by)
    return profile


@transaction.atomic
def state_limit(limit: ReferenceLimit, *, by: Actor) -> ReferenceLimit:
    """State a limit that holds from now on, not verified yet.

    Raises BadValueError where one stands for the same profile, quantity, class, type and method, where its unit
    measures something else, or where its bounds are none or the wrong way round.
    """
    by.must(May.EDIT_REGISTRY)
    if ReferenceLimit.objects.filter(**_which(limit), ended_at__isnull=True).exists():
        message = "Such a limit stands already. Open it and replace it."
        raise BadValueError(message, field="quantity")
    return _put(limit, "stated reference limit", by)


@transaction.atomic
def replace_limit(limit: ReferenceLimit, says: Mapping[str, Any], why: str, *, by: Actor) -> ReferenceLimit:
    """Put a better one in the place of a limit; `says` is of SAYS. The old one stays on record, and so do verdicts."""
    by.must(May.EDIT_REGISTRY)
    row = _standing(limit)
    reason = _reason(why)
    better = ReferenceLimit(**_which(row), **{name: says[name] for name in SAYS})
    if all(getattr(row, name) == getattr(better, name) for name in SAYS):
        raise BadValueError("It says the same as the one it would replace. Change something first.", field="high")
    _check(better)
    change(row, ended_at=clock.now(), ended_why=reason)
    made = _put(better, "replaced reference limit", by, why=reason)
    change(row, replaced_by=made)
    return made


@transaction.atomic
def end_limit(limit: ReferenceLimit, why: str, *, by: Actor) -> ReferenceLimit:
    """Let a limit hold no longer, with none in its place."""
    by.must(May.EDIT_REGISTRY)
    row = _standing(limit)
    reason = _reason(why)
    before, after = change(row, ended_at=clock.now(), ended_why=reason)
    record(Happening("ended reference limit", row, before=before, after=after, why=reason), by=by)
    return row


@transaction.atomic
def verify_limit(limit: ReferenceLimit, against: str, *, by: Actor) -> ReferenceLimit:
    """Say that a limit was held `against` a document and edition. It takes a person, and not the one who entered it."""
    by.must(May.EDIT_REGISTRY)
    row = _standing(limit)
    if by.person_id is None:
        raise BadValueError("A limit is verified by a person, with the source in hand.")
    if by.person_id == row.entered_by_id:
        raise BadValueError("You entered this limit. Somebody else verifies it.")
    if not against.strip():
        raise BadValueError("Say which document and edition you held it against.", field="against")
    values = {
        "verified_by_id": by.person_id,
        "verified_name": by.name[:120],
        "verified_on": clock.today(),
        "verified_against": against.strip()[:160],
    }
    before, after = change(row, **values)
    record(Happening("verified reference limit", row, before=before, after=after), by=by)
    return row


def _standing(limit: ReferenceLimit) -> ReferenceLimit:
    row = ReferenceLimit.objects.select_for_update().get(pk=limit.pk)
    if row.ended_at is not None:
        raise BadValueError("This limit holds no longer; look at the one in its place.")
    return row


def _which(limit: ReferenceLimit) -> dict[str, Any]:
    return {name: getattr(limit, name) for name in WHICH}


def _reason(why: str) -> str:
    if not why.strip():
        raise BadValueError("Say why it holds no longer.", field="why")
    return why.strip()[:200]


def _check(limit: ReferenceLimit) -> None:
    if limit.low is None and limit.high is None:
        raise BadValueError("Give a lower limit, an upper limit or both.", field="low")
    if limit.low is not None and limit.high is not None and limit.low > limit.high:
        raise BadValueError("The lower limit lies above the upper.", field="low")
    quantity = Quantity(limit.quantity)
    if not quantity.takes(limit.unit):
        raise BadValueError(f"{quantity.label} is {quantity.kind}; “{limit.unit}” is no unit of it.", field="unit")


def _put(limit: ReferenceLimit, verb: str, by: Actor, *, why: str = "") -> ReferenceLimit:
    _check(limit)
    entered = {"entered_at": clock.now(), "entered_by_id": by.person_id, "entered_name": by.name[:120]}
    row = with_values(limit, {**entered, "unit": symbol_of(limit.unit)})
    refuse_wrong(row)
    row.save(force_insert=True)
    told = {name: getattr(row, name) for name in (*WHICH, *SAYS)}
    record(Happening(verb, row, after=told, why=why), by=by)
    return row


@transaction.atomic
def set_policy(
    place: Place, values: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> LimitPolicy:
    """State what holds at a place: `values` of POLICY_FACTS, empty where it is inherited.

    `opened`: the fingerprint of POLICY_FACTS that the form was opened with. Raises ConflictError or BadValueError.
    """
    by.must(May.EDIT_REGISTRY)
    held = Place.objects.select_for_update().get(pk=place.pk)
    found = LimitPolicy.objects.select_for_update(of=("self",)).filter(place=held).first()
    row = found or LimitPolicy(place=held)
    refuse_changed(row, POLICY_FACTS, opened)
    refuse_wrong(with_values(row, values))
    if found is None:
        row.save(force_insert=True)
    before, after = change(row, **values)
    if after:
        record(Happening("set limit policy", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def ensure_reference_limits(by: Actor) -> list[ReferenceLimit]:
    """Put in the profiles that are not there yet, with their limits, none verified. Safe to run again."""
    by.must(May.EDIT_REGISTRY)
    known = set(LimitProfile.objects.values_list("code", flat=True))
    seeds = tomllib.loads((settings.BASE_DIR / SEEDS).read_text(encoding="utf-8"), parse_float=Decimal)
    made: list[ReferenceLimit] = []
    for code, facts in seeds.items():
        if code in known:
            continue
        profile = add_profile(facts["name"], code, facts["note"], by=by)
        shared = {"profile": profile, "source": facts["source"], "edition": facts["edition"]}
        made += [state_limit(ReferenceLimit(**shared, **_bounds(limit)), by=by) for limit in facts["limits"]]
    return made


def _bounds(stated: Mapping[str, Any]) -> dict[str, Any]:
    return {name: Decimal(value) if name in {"low", "high"} else value for name, value in stated.items()}
