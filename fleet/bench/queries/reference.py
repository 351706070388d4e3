"""Reference limits: those that hold, what is asked to choose among them, and which policy holds at a place."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import QuerySet

from fleet.bench.models import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.core.judging import JUMP_SHARE, Acceptance, Stated
from fleet.core.limits import Limits
from fleet.core.units import convert
from fleet.registry.models import Place
from fleet.web import phrases

HOUSE_DEFAULT = "house default"


@dataclass(frozen=True, slots=True)
class Policy:
    """What holds at a place. `stated_at` names, by field, the place that each comes from; else it is the default."""

    profile: LimitProfile | None = None
    rule: Acceptance = Acceptance.SIMPLE
    jump_share: Decimal = JUMP_SHARE
    unnamed: LimitPolicy.Unnamed = LimitPolicy.Unnamed.REFUSED
    stated_at: dict[str, str] = field(default_factory=dict)

    def origin(self, name: str) -> str:
        """Where a field of it comes from, in words."""
        return self.stated_at.get(name, HOUSE_DEFAULT)

    @property
    def profile_origin(self) -> str:
        """Where the profile comes from."""
        return self.origin("profile")

    @property
    def rule_origin(self) -> str:
        """Where the rule of acceptance comes from."""
        return self.origin("acceptance")

    @property
    def unnamed_origin(self) -> str:
        """Where it comes from what becomes of a reading without its instrument."""
        return self.origin("unnamed")

    @property
    def share_origin(self) -> str:
        """Where the share comes from beyond which a jump is shown."""
        return self.origin("jump_share")


def policy_at(place: Place) -> Policy:
    """The policy at a place: each part from the nearest place at or above it that states one, else the default."""
    ids = _path_ids(place)
    rows = LimitPolicy.objects.filter(place_id__in=ids).select_related("profile", "place")
    return put_together(sorted(rows, key=lambda row: ids.index(row.place_id)))


def _path_ids(place: Place) -> list[int]:
    return [int(part) for part in place.path.split("/") if part]


def put_together(policies: Iterable[LimitPolicy]) -> Policy:
    """One policy of those stated from the site down: what a lower place states holds instead."""
    held: dict[str, LimitPolicy] = {}
    for row in policies:
        stated = {"profile": row.profile_id, "acceptance": row.acceptance, "jump_share": row.jump_share}
        stated["unnamed"] = row.unnamed
        held |= {name: row for name, value in stated.items() if value not in (None, "")}
    share = held["jump_share"].jump_share if "jump_share" in held else None
    return Policy(
        profile=held["profile"].profile if "profile" in held else None,
        rule=Acceptance(held["acceptance"].acceptance) if "acceptance" in held else Acceptance.SIMPLE,
        jump_share=JUMP_SHARE if share is None else share,
        unnamed=LimitPolicy.Unnamed(held["unnamed"].unnamed) if "unnamed" in held else LimitPolicy.Unnamed.REFUSED,
        stated_at={name: str(row.place) for name, row in held.items()},
    )


def reference_limits() -> QuerySet[ReferenceLimit]:
    """The limits that hold, by profile and quantity."""
    return ReferenceLimit.objects.filter(ended_at__isnull=True).select_related("profile")


def unverified() -> QuerySet[ReferenceLimit]:
    """The limits that hold although nobody has held them against their source."""
    return reference_limits().filter(verified_on__isnull=True)


def limits_for(profile: LimitProfile | None, quantity: str) -> list[ReferenceLimit]:
    """The limits of one quantity in a profile, whatever they depend on; none without a profile."""
    if profile is None or not quantity:
        return []
    return list(reference_limits().filter(profile=profile, quantity=quantity))


def earlier_ones(limit: ReferenceLimit) -> list[ReferenceLimit]:
    """Those that stood in the place of a limit before it, the newest first, and those that came after it."""
    same = {name: getattr(limit, name) for name in ("profile", "quantity", "protection", "applied_part", "method")}
    return list(ReferenceLimit.objects.filter(**same).exclude(pk=limit.pk).order_by("-entered_at", "-pk"))


def as_stated(limit: ReferenceLimit, unit: str) -> Stated:
    """A reference limit as the core judges by it, in the step's unit."""
    low, high = (
        None if bound is None else convert(plain(bound), limit.unit, unit) for bound in (limit.low, limit.high)
    )
    told = source_words(limit)
    source = told if told.startswith(str(limit.profile)) else f"{limit.profile}: {told}"
    return Stated(Limits(low, high, unit), source, verified_words(limit))


def source_words(limit: ReferenceLimit) -> str:
    """The source with its edition; once verified, the document it was held against, whatever it was entered from."""
    if limit.verified_against:
        return limit.verified_against
    return f"{limit.source}, {limit.edition}" if limit.edition else limit.source


def verified_words(limit: ReferenceLimit) -> str:
    """Who checked it against its source and when; empty where nobody did."""
    return f"verified by {limit.verified_name}, {phrases.day(limit.verified_on)}" if limit.verified_on else ""


def plain(value: Decimal) -> Decimal:
    """The same number without a column's trailing zeros: 5.0000 is 5."""
    return Decimal(f"{value.normalize():f}")


def placed_policies(places: Iterable[Place]) -> list[tuple[Place, Policy, LimitPolicy | None]]:
    """Each place with the policy that holds there and what it states itself. Reads the policies once."""
    stated = {row.place_id: row for row in LimitPolicy.objects.select_related("profile", "place")}
    return [
        (place, put_together(stated[pk] for pk in _path_ids(place) if pk in stated), stated.get(place.pk))
        for place in places
    ]
