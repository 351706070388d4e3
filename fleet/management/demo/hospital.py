"""Mereford Hospitals, invented: three sites, their wards, benches and stores, the makers and the types of driver."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final, NamedTuple

from fleet.alerts.actions import ensure_kinds
from fleet.alerts.models import AlertKind
from fleet.audit.actors import command_actor
from fleet.bench.actions import ensure_retirement_methods, ensure_starter_procedures
from fleet.bench.actions.reference import ensure_reference_limits, set_policy
from fleet.registry.actions import NewType, add_device_type, add_party, add_place
from fleet.registry.models import DeviceType, Party, Place
from fleet.schedules.actions import NewPlan, add_plan, ensure_risk_classes
from fleet.schedules.models import Plan

BY: Final = command_actor("demo")
_YEAR: Final = 12
#: Invented.
_SERVICE_HOURS: Final = 5000
GENERAL, VALE, HOUSE = "mg", "cv", "ah"


class Ward(NamedTuple):
    """A ward to be made: its building, its share of the drivers, and whether it is critical care."""

    building: str
    code: str
    name: str
    share: int
    critical: bool = False
    palliative: bool = False


SITES: Final = {GENERAL: "Mereford General", VALE: "Corran Vale", HOUSE: "Aldhollow House"}
BUILDINGS: Final = {
    "mg-main": "Main building",
    "mg-harbour": "Harbour wing",
    "mg-family": "Women and children",
    "cv-vale": "Vale building",
    "cv-lodge": "Lodge",
    "ah-house": "The House",
}
WARDS: Final = (
    Ward("mg-main", "mg-icu", "Intensive care", 80, critical=True),
    Ward("mg-main", "mg-hdu", "High dependency", 40, critical=True),
    Ward("mg-main", "mg-theatres", "Theatres", 60, critical=True),
    Ward("mg-main", "mg-recovery", "Recovery", 16, critical=True),
    Ward("mg-main", "mg-ed", "Emergency department", 20, critical=True),
    Ward("mg-harbour", "mg-w1", "Ward 1, Surgery", 14),
    Ward("mg-harbour", "mg-w2", "Ward 2, Medicine", 16),
    Ward("mg-harbour", "mg-w3", "Ward 3, Haematology", 24),
    Ward("mg-harbour", "mg-w4", "Ward 4, Oncology", 28),
    Ward("mg-harbour", "mg-w5", "Ward 5, Palliative care", 22, palliative=True),
    Ward("mg-family", "mg-nnu", "Neonatal unit", 56, critical=True),
    Ward("mg-family", "mg-child", "Children's ward", 22),
    Ward("mg-family", "mg-labour", "Labour ward", 18),
    Ward("cv-vale", "cv-icu", "Intensive care", 44, critical=True),
    Ward("cv-vale", "cv-theatres", "Theatres", 24, critical=True),
    Ward("cv-vale", "cv-a", "Ward A, Medicine", 14),
    Ward("cv-vale", "cv-b", "Ward B, Surgery", 14),
    Ward("cv-vale", "cv-c", "Ward C, Respiratory", 12),
    Ward("cv-lodge", "cv-renal", "Renal unit", 8),
    Ward("ah-house", "ah-east", "East rooms", 24, palliative=True),
    Ward("ah-house", "ah-west", "West rooms", 22, palliative=True),
    Ward("ah-house", "ah-home", "Home care team", 34, palliative=True),
)
ROOMS: Final = (
    (Place.Kind.BENCH, "mg-main", "mg-bench", "Device bench"),
    (Place.Kind.STORE, "mg-main", "mg-store", "Device store"),
    (Place.Kind.WARD, "mg-main", "mg-skills", "Skills room"),
    (Place.Kind.BENCH, "cv-vale", "cv-bench", "Device bench"),
    (Place.Kind.STORE, "cv-vale", "cv-store", "Device store"),
)


@dataclass(frozen=True, slots=True)
class Model:
    """A type of driver with what the scenario needs of it. `counts`: its packs tell the cycles they have made.

    `rated`: hours of a new pack by delivery rate (mL/h).
    """

    kind: DeviceType
    rated: dict[Decimal, float]
    syringe_ml: Decimal
    months_between_tests: int
    networked: bool
    counts: bool
    prefix: str
    pack_price: Decimal


@dataclass(slots=True)
class Hospital:
    """Everything that stands before the first driver is delivered."""

    places: dict[str, Place] = field(default_factory=dict)
    parties: dict[str, Party] = field(default_factory=dict)
    models: dict[str, Model] = field(default_factory=dict)
    alert_kinds: dict[str, AlertKind] = field(default_factory=dict)

    def bench_for(self, home: Place) -> Place:
        """The bench that looks after a place: its site's, or Mereford General's where there is none."""
        return self.places["cv-bench" if home.code.startswith(VALE) else "mg-bench"]

    def store_for(self, home: Place) -> Place:
        """The store beside that bench."""
        return self.places["cv-store" if home.code.startswith(VALE) else "mg-store"]

    def wards(self) -> Iterator[tuple[Ward, Place]]:
        """The wards with their places, in the order of the table."""
        return ((ward, self.places[ward.code]) for ward in WARDS)


def build_hospital() -> Hospital:
    """Make places, parties, types, plans, procedures and kinds of alert."""
    hospital = Hospital()
    _places(hospital.places)
    _parties(hospital.parties)
    ensure_starter_procedures(BY)
    ensure_retirement_methods(BY)
    ensure_risk_classes(BY)
    _limits(hospital.places)
    hospital.alert_kinds = {kind.code: kind for kind in ensure_kinds(BY)}
    for name, facts in _TYPES.items():
        hospital.models[name] = _model(hospital, facts)
    return hospital


def _places(places: dict[str, Place]) -> None:
    for code, name in SITES.items():
        places[code] = add_place(Place.Kind.SITE, name, code, by=BY)
    for code, name in BUILDINGS.items():
        places[code] = add_place(Place.Kind.BUILDING, name, code, places[code[:2]], by=BY)
    for number, ward in enumerate(WARDS):
        facts: dict[str, Any] = {"critical": ward.critical, "phone": f"ext. {4100 + 7 * number}"}
        places[ward.code] = add_place(Place.Kind.WARD, ward.name, ward.code, places[ward.building], by=BY, **facts)
    for kind, building, code, name in ROOMS:
        places[code] = add_place(kind, name, code, places[building], by=BY)


def _limits(places: dict[str, Place]) -> None:
    profile = ensure_reference_limits(BY)[0].profile
    for code in SITES:
        set_policy(places[code], {"profile": profile}, by=BY)


def _parties(parties: dict[str, Party]) -> None:
    makers = {"tarnwick": "Tarnwick Instruments", "ossel": "Ossel & Brey", "quillmere": "Quillmere Devices"}
    for code, name in makers.items():
        contact = {"contact": "Service desk", "email": f"service@{code}.example", "phone": "ext. by switchboard"}
        parties[code] = add_party(name, code, by=BY, makes=True, supplies=True, services=True, **contact)
    parties["fennick"] = add_party("Fennick Cells", "fennick", by=BY, makes=True, supplies=True)


_COMMON: Final = "7 h at 5 mL/h and 10 h to charge: common practice, no source; the rest is invented for the demo"
_INVENTED: Final = "invented for the demo"
_NEEDED: Final = {"Power lead": 1, "Pole clamp": 1}
_CF: Final = {"protection": "2", "applied_part": "CF"}
_BF: Final = {"protection": "2", "applied_part": "BF"}
_TYPES: Final[dict[str, dict[str, Any]]] = {
    "TW-10": {
        "maker": "tarnwick",
        "charging": 10,
        "rated": {"1": "7.8", "5": "7", "25": "5.2", "100": "3.1"},
        "accessories": _NEEDED,
        "facts": {
            **_CF,
            "chemistry": "NiMH",
            "pack_part_number": "FC-72-20",
            "price": 1640,
            "service_life_months": 120,
        },
        "source": _COMMON,
        "tests": (50, 12),
        "networked": True,
        "prefix": "TW",
        "pack_price": 46,
    },
    "Lento 3": {
        "maker": "ossel",
        "charging": 6,
        "rated": {"0.5": "62", "1": "58", "5": "36"},
        "accessories": {"Charging lead": 1, "Carrying pouch": 1, "Lock box key": 1},
        "facts": {
            **_BF,
            "chemistry": "Li-ion",
            "pack_part_number": "FC-37-11",
            "price": 1290,
            "service_life_months": 96,
        },
        "source": _INVENTED,
        "reference": 1,
        "tests": (30, 24),
        "networked": False,
        "counts": True,
        "prefix": "LT",
        "pack_price": 38,
    },
    "Sable": {
        "maker": "quillmere",
        "charging": 8,
        "rated": {"1": "9.6", "5": "8.5", "20": "6.8", "120": "3.4"},
        "accessories": {**_NEEDED, "Data lead": 1},
        "facts": {
            **_CF,
            "chemistry": "Li-ion",
            "pack_part_number": "FC-74-26",
            "price": 1980,
            "service_life_months": 120,
        },
        "source": _INVENTED,
        "tests": (50, 12),
        "networked": True,
        "counts": True,
        "prefix": "SB",
        "pack_price": 61,
    },
    "Sable N": {
        "maker": "quillmere",
        "charging": 8,
        "rated": {"0.5": "10.4", "5": "8.5"},
        "accessories": {**_NEEDED, "Data lead": 1},
        "facts": {
            **_CF,
            "chemistry": "Li-ion",
            "pack_part_number": "FC-74-27",
            "price": 2140,
            "service_life_months": 120,
            "configuration": "neonatal",
        },
        "source": _INVENTED,
        "tests": (20, 12),
        "networked": True,
        "counts": True,
        "prefix": "SN",
        "pack_price": 61,
    },
}


def _model(hospital: Hospital, facts: dict[str, Any]) -> Model:
    syringe, months = facts["tests"]
    name = next(name for name, known in _TYPES.items() if known is facts)
    kind = add_device_type(
        NewType(
            maker=hospital.parties[facts["maker"]],
            model=name.removesuffix(" N"),
            charging_hours=Decimal(facts["charging"]),
            reference_rate=Decimal(facts.get("reference", 5)),
            rated_runtimes={Decimal(at): Decimal(hours) for at, hours in facts["rated"].items()},
            accessories=facts["accessories"],
            facts=facts["facts"],
            source=facts["source"],
        ),
        by=BY,
    )
    _plans(kind, months, by_cable=not facts["networked"])
    return Model(
        kind=kind,
        rated={Decimal(at): float(hours) for at, hours in facts["rated"].items()},
        syringe_ml=Decimal(syringe),
        months_between_tests=months,
        networked=facts["networked"],
        counts=facts.get("counts", False),
        prefix=facts["prefix"],
        pack_price=Decimal(facts["pack_price"]),
    )


def _plans(kind: DeviceType, months_between_tests: int, *, by_cable: bool) -> None:
    # A driver that tells its running hours is due by them too, where it hardly ever stands still.
    hours = None if by_cable else _SERVICE_HOURS
    asked = {"maker_months": _YEAR, "maker_hours": hours}
    yearly_service = NewPlan(
        device_type=kind, name="Yearly service", every_months=_YEAR, every_hours=hours, facts=asked
    )
    add_plan(yearly_service, by=BY)
    yearly = months_between_tests == _YEAR
    windows: dict[str, Any] = {"window_before_days": 45, "window_after_days": 45, "maker_months": months_between_tests}
    battery = NewPlan(
        device_type=kind,
        name="Battery test" if yearly else "Battery test, every second year",
        kind=Plan.Kind.BATTERY,
        every_months=months_between_tests,
        facts=windows,
    )
    add_plan(battery, by=BY)
    if by_cable:
        library = NewPlan(
            device_type=kind, name="Library by cable", kind=Plan.Kind.LIBRARY, every_months=_YEAR,
            facts={"maker_months": _YEAR},
        )  # fmt: skip
        add_plan(library, by=BY)
