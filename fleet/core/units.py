"""Units of the bench: as people write them, what they measure, and one converted into another.

The registry is our own small one on pint, so that only what a bench measures is read and "mohm" is never a wild guess.
Definitions are exact and the arithmetic is decimal with 34 digits. Factors after NIST SP 811, appendix B, from memory:
pound-force per square inch 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2; conventional millimetre of mercury
13595.1 kg/m3 x 9.80665 m/s2 x 1 mm; conventional centimetre of water 1000 kg/m3 x 9.80665 m/s2 x 1 cm.
"""

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal, localcontext
from types import MappingProxyType
from typing import Final

import pint

from fleet.core.errors import BadValueError
from fleet.core.limits import read_number

_DIGITS: Final = 34
#: More digits while computing, so that what is exact comes out exact: 2 h are 120 min.
_SPARE: Final = 6


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: the symbol it is kept and shown by, what it measures, its definition, and how else it is written."""

    symbol: str
    measures: str
    definition: str
    also: tuple[str, ...] = ()


#: Definitions name the base unit of their kind, or are built on another symbol's name below (own names, ASCII).
UNITS: Final = (
    Unit("kPa", "a pressure", "kpa = 1000 * pascal", ("kilopascal",)),
    Unit("psi", "a pressure", "psi = 0.45359237 * 9.80665 / 0.0254 ** 2 * pascal", ("lbf/in2", "lb/in2")),
    Unit("mmHg", "a pressure", "mmhg = 13.5951 * 9.80665 * pascal", ("mm of mercury",)),
    Unit("cmH2O", "a pressure", "cmh2o = 98.0665 * pascal", ("cm of water",)),
    Unit("bar", "a pressure", "bar = 100000 * pascal"),
    Unit("mbar", "a pressure", "mbar = 100 * pascal", ("millibar", "hPa")),
    Unit("mL/h", "a flow", "ml_h = mlph", ("ml/hr", "mL/hour", "mlh")),
    Unit("µL/h", "a flow", "ul_h = 0.001 * mlph", ("ul/h", "ul/hr", "uL/hour")),
    Unit("mL/min", "a flow", "ml_min = 60 * mlph", ("ml/minute",)),
    Unit("mL", "a volume", "ml = 0.001 * litre", ("millilitre", "milliliter", "cc")),
    Unit("µL", "a volume", "ul = 0.000001 * litre", ("ul", "microlitre", "microliter")),
    Unit("Ω", "a resistance", "ohm = ohm_base", ("ohm", "ohms", "R")),
    Unit("mΩ", "a resistance", "milliohm = 0.001 * ohm_base", ("mohm", "milliohm", "milliohms")),
    Unit("MΩ", "a resistance", "megohm = 1000000 * ohm_base", ("Mohm", "megohm", "megaohm", "megohms")),
    Unit("kΩ", "a resistance", "kiloohm = 1000 * ohm_base", ("kohm", "kilohm", "kiloohm")),
    Unit("µA", "a current", "ua = 0.000001 * ampere", ("uA", "microamp", "microampere", "microamps")),
    Unit("mA", "a current", "ma = 0.001 * ampere", ("milliamp", "milliampere", "milliamps")),
    Unit("A", "a current", "amp = ampere", ("amp", "ampere", "amps")),
    Unit("V", "a voltage", "v = volt", ("volt", "volts")),
    Unit("mV", "a voltage", "mv = 0.001 * volt", ("millivolt", "millivolts")),
    Unit("s", "a time", "sec = second", ("sec", "second", "seconds")),
    Unit("min", "a time", "minute = 60 * second", ("mins", "minute", "minutes")),
    Unit("h", "a time", "hour = 3600 * second", ("hr", "hrs", "hour", "hours")),
    Unit("g", "a mass", "g = gram", ("gram", "grams")),
    Unit("mg", "a mass", "mg = 0.001 * gram", ("milligram", "milligrams")),
    Unit("°C", "a temperature", "degc = celsius_base", ("C", "degC", "deg C", "celsius")),
    Unit("%", "a share", "percent = 0.01 * whole", ("percent", "per cent", "pct")),
)
_BASES: Final = (
    "pascal = [pressure]",
    "mlph = [flow]",
    "litre = [volume]",
    "ohm_base = [resistance]",
    "ampere = [current]",
    "volt = [voltage]",
    "second = [time]",
    "gram = [mass]",
    "celsius_base = [temperature]",
    "whole = []",
)
_TYPED: Final = re.compile(r"\s*([+\-\u2212]?\s?[0-9.,]+)\s*(.*?)\s*", re.DOTALL)


def _registry() -> pint.UnitRegistry[Decimal]:
    made: pint.UnitRegistry[Decimal] = pint.UnitRegistry(None, non_int_type=Decimal)
    with localcontext() as context:
        context.prec = _DIGITS + _SPARE
        for line in (*_BASES, *(unit.definition for unit in UNITS)):
            made.define(line)
    return made


def _spelt(text: str) -> str:
    """One spelling of a unit: both signs for micro and for ohm are one, and so are spaces."""
    return "".join(unicodedata.normalize("NFKC", text).split())


_BY_SPELLING: Final = MappingProxyType({_spelt(name): unit for unit in UNITS for name in (unit.symbol, *unit.also)})


def find_unit(text: str) -> Unit | None:
    """Return the unit written so, None where it is none of the bench's.

    Capitals matter only where they must: "KPA" is kPa, but "MOHM" could be milliohm or megohm and raises BadValueError.
    """
    spelt = _spelt(text)
    if spelt in _BY_SPELLING:
        return _BY_SPELLING[spelt]
    alike = {unit.symbol: unit for name, unit in _BY_SPELLING.items() if name.casefold() == spelt.casefold()}
    if len(alike) > 1:
        message = f"“{text}” could be {' or '.join(sorted(alike))}; write the one that is meant."
        raise BadValueError(message, field="value")
    return next(iter(alike.values()), None)


def symbol_of(text: str) -> str:
    """Return the unit by the symbol it is kept by: "uA" is µA, "ohm" Ω. A unit of no known kind stays as written."""
    unit = find_unit(text)
    return unit.symbol if unit else text.strip()


def same_kind(one: str, other: str) -> bool:
    """Whether one unit can be converted into the other; one that is not known only into itself."""
    first, second = find_unit(one), find_unit(other)
    if first is None or second is None:
        return _spelt(one) == _spelt(other)
    return first.measures == second.measures


def convert(value: Decimal, unit: str, into: str) -> Decimal:
    """Return `value` in another unit, to 34 digits; the same unit gives the same number, digit for digit.

    Raises BadValueError for units that measure different things, or of which one is not known.
    """
    if symbol_of(unit) == symbol_of(into):
        return value
    first, second = find_unit(unit), find_unit(into)
    if first is None or second is None:
        unknown = unit if first is None else into
        raise BadValueError(f"“{unknown}” is no unit known here; give the value in {into}.", field="value")
    if first.measures != second.measures:
        message = f"{first.symbol} is {first.measures}; here {second.measures} is asked for, in {second.symbol}."
        raise BadValueError(message, field="value")
    with localcontext() as context:
        context.prec = _DIGITS + _SPARE
        found = value * _factor(first) / _factor(second)
        context.prec = _DIGITS
        return Decimal(f"{(+found).normalize():f}")


#: What has a sign or a zero of one's own choosing; all else that the bench measures is a magnitude.
_SIGNED: Final = frozenset({"a temperature", "a voltage", "a pressure", "a share"})


def magnitude(unit: str) -> str:
    """Return what the unit measures where that cannot be less than nothing ("a time"), empty where it can."""
    found = find_unit(unit)
    return found.measures if found and found.measures not in _SIGNED else ""


def read_quantity(text: str, unit: str) -> Decimal:
    """Return what was typed, in `unit`: "7.5 psi" where kPa is asked for is converted, a bare number is in `unit`.

    Raises BadValueError for what is no number, an unknown unit, or one that measures something else.
    """
    number, typed_unit = as_typed(text)
    return convert(read_number(number), typed_unit or unit, unit)


def as_typed(text: str) -> tuple[str, str]:
    """Return the number and the unit as they were typed, the unit empty where there is none; both unread."""
    parts = _TYPED.fullmatch(text)
    return (parts[1].replace(" ", ""), parts[2]) if parts else (text, "")


def _factor(unit: Unit) -> Decimal:
    """How many of its kind's base unit one of it is."""
    return Decimal(str(_REGISTRY.get_root_units(unit.definition.partition(" = ")[0])[0]))


_REGISTRY: Final = _registry()
