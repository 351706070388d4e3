"""What electrical safety tests measure, and what a limit may depend on. Words only; every limit is editable data.

The quantities are those that IEC 62353 and NFPA 99 speak of (from memory; the standards were not read here).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from types import MappingProxyType
from typing import Final, Protocol, TypeVar

from fleet.core.units import find_unit
from fleet.core.words import Worded


class Quantity(Worded):
    """What is measured."""

    EARTH_DEVICE = "earth_device", "Protective earth resistance, device without its lead"
    EARTH_LEAD = "earth_lead", "Protective earth resistance, detachable lead alone"
    EARTH_BOTH = "earth_both", "Protective earth resistance, device with its detachable lead"
    EARTH_FIXED = "earth_fixed", "Protective earth resistance, device with a fixed lead"
    EARTH_SYSTEM = "earth_system", "Protective earth resistance, system with a multiple socket"
    EQUIPMENT = "equipment", "Equipment leakage current"
    APPLIED_PART = "applied_part", "Applied part leakage current"
    PATIENT = "patient", "Patient leakage current"
    TOUCH = "touch", "Touch current (chassis leakage)"
    INSULATION_EARTH = "insul_earth", "Insulation resistance, mains to protective earth"
    INSULATION_CASE = "insul_case", "Insulation resistance, mains to case"
    INSULATION_PART = "insul_part", "Insulation resistance, mains to applied part"

    @property
    def kind(self) -> str:
        """What its unit measures, as `core.units` names it."""
        return "a current" if self in _CURRENTS else "a resistance"

    @property
    def records(self) -> tuple[str, ...]:
        """What the record of such a test must say beside its value, as fields of a `Context`.

        A leakage current says nothing without them (after IEC 62353, clause 6, from memory). The mains voltage is
        recorded as it was; no value is converted to the nominal voltage.
        """
        if self not in _CURRENTS:
            return ()
        part = ("applied_part",) if self in _OF_APPLIED_PART else ()
        return ("protection", *part, "method", "mains_v")

    def takes(self, unit: str) -> bool:
        """Whether the quantity can be stated in a unit."""
        known = find_unit(unit)
        return known is not None and known.measures == self.kind


_CURRENTS: Final = frozenset({Quantity.EQUIPMENT, Quantity.APPLIED_PART, Quantity.PATIENT, Quantity.TOUCH})
_OF_APPLIED_PART: Final = frozenset({Quantity.APPLIED_PART, Quantity.PATIENT})


class Protection(Worded):
    """How a device protects against electric shock."""

    ONE = "1", "Class I"
    TWO = "2", "Class II"


class AppliedPart(Worded):
    """The type of the part that touches the patient."""

    B = "B", "Type B"
    BF = "BF", "Type BF"
    CF = "CF", "Type CF"


class Method(Worded):
    """How a leakage current is measured."""

    DIRECT = "direct", "Direct"
    DIFFERENTIAL = "diff", "Differential"
    ALTERNATIVE = "alt", "Alternative"


@dataclass(frozen=True, slots=True)
class Context:
    """What a safety test was made on and how; empty where it is not known. Mains voltage in V."""

    protection: str = ""
    applied_part: str = ""
    method: str = ""
    mains_v: Decimal | None = None

    @property
    def words(self) -> str:
        """`Class II, type CF, direct, 230 V mains`; empty where nothing is known."""
        kinds = ((Protection, self.protection), (AppliedPart, self.applied_part), (Method, self.method))
        told = [kind(value).label for kind, value in kinds if value]
        mains = [] if self.mains_v is None else [f"{self.mains_v.normalize():f} V mains"]
        joined = ", ".join([*told, *mains])
        return joined.replace(", Type", ", type").replace(", D", ", d").replace(", A", ", a")


def not_told(quantity: Quantity, context: Context) -> tuple[str, ...]:
    """Return what the record of a test of this quantity must still say."""
    return tuple(name for name in quantity.records if not getattr(context, name))


#: What a limit may depend on, by its field, as a person asks for it.
DEPENDS_ON: Final = MappingProxyType(
    {"protection": "class of protection", "applied_part": "type of applied part", "method": "method"}
)


class Depending(Protocol):
    """A limit that holds for one class, type and method, or where a field is empty for any."""

    protection: str
    applied_part: str
    method: str


D = TypeVar("D", bound=Depending)

#: All that is said of how a test was made, as a person asks for it.
CONTEXT_WORDS: Final = MappingProxyType({**DEPENDS_ON, "mains_v": "mains voltage"})


def asked(limits: Iterable[Depending], known: Context) -> tuple[str, ...]:
    """Return what still has to be known to choose among the limits of one quantity, as fields of `DEPENDS_ON`.

    Limits that name something else than what is known are left aside.
    """
    held = {name: getattr(known, name) for name in DEPENDS_ON}
    every = [
        each for each in limits if all(not value or getattr(each, name) in {"", value} for name, value in held.items())
    ]
    return tuple(name for name, value in held.items() if not value and any(getattr(each, name) for each in every))


def choose(limits: Iterable[D], context: Context) -> D | None:
    """Return the limit that fits: the one that names most of what is known, and nothing that differs; None: none fits.

    A limit that names what is not known does not fit: nothing is guessed.
    """
    fitting = [
        each for each in limits if all(getattr(each, name) in {"", getattr(context, name)} for name in DEPENDS_ON)
    ]
    return max(fitting, key=lambda each: sum(bool(getattr(each, name)) for name in DEPENDS_ON), default=None)


def as_stored(context: Context) -> dict[str, str]:
    """Return the context as plain texts, without what is not known."""
    held = {field.name: getattr(context, field.name) for field in fields(context)}
    return {name: str(value) for name, value in held.items() if value not in ("", None)}


def from_stored(stored: Mapping[str, str]) -> Context:
    """Return the context that `as_stored` gave."""
    held = {name: stored.get(name, "") for name in DEPENDS_ON}
    return Context(**held, mains_v=Decimal(stored["mains_v"]) if "mains_v" in stored else None)
