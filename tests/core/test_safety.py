"""Which limit fits a safety test, and what has to be known of the test for it."""

from dataclasses import dataclass
from decimal import Decimal

import pytest

from fleet.core.safety import Context, Quantity, as_stored, asked, choose, from_stored, not_told


@dataclass(frozen=True)
class Row:
    """A limit as far as choosing looks at it."""

    name: str
    protection: str = ""
    applied_part: str = ""
    method: str = ""


ROWS = [
    Row("any"),
    Row("class II", protection="2"),
    Row("class II direct", protection="2", method="direct"),
    Row("class I", protection="1"),
]


@pytest.mark.parametrize(
    ("context", "name"),
    [
        (Context(), "any"),
        (Context(method="direct"), "any"),
        (Context(protection="2"), "class II"),
        (Context(protection="2", method="diff"), "class II"),
        (Context(protection="2", method="direct"), "class II direct"),
        (Context(protection="1", method="direct"), "class I"),
    ],
)
def test_the_limit_that_names_most_of_what_is_known_is_chosen(context: Context, name: str) -> None:
    """And never one that names what is not known, or something else."""
    chosen = choose(ROWS, context)
    assert chosen is not None
    assert chosen.name == name


def test_none_fits_where_each_names_something_else() -> None:
    """Nothing is guessed."""
    assert choose(ROWS[1:], Context(applied_part="CF")) is None
    assert choose([], Context()) is None


def test_what_is_asked_is_what_the_limits_name() -> None:
    """The class and the method decide between these rows, the type of applied part does not; of class I no method."""
    assert asked(ROWS, Context()) == ("protection", "method")
    assert asked(ROWS, Context(protection="2")) == ("method",)
    assert asked(ROWS, Context(protection="1")) == ()
    assert asked(ROWS, Context(protection="2", method="direct")) == ()
    assert asked([Row("any")], Context()) == ()


def test_a_context_in_words_and_stored() -> None:
    """What is stored comes back, and what is not known is left out of the words."""
    context = Context("2", "CF", "direct", Decimal("230.0"))
    assert context.words == "Class II, type CF, direct, 230 V mains"
    assert from_stored(as_stored(context)) == context
    assert Context(applied_part="BF").words == "Type BF"
    assert as_stored(Context()) == {}


def test_a_quantity_takes_only_units_that_measure_it() -> None:
    """A leakage is no resistance."""
    assert Quantity.EQUIPMENT.takes("uA")
    assert not Quantity.EQUIPMENT.takes("ohm")
    assert Quantity.INSULATION_CASE.takes("Mohm")
    assert not Quantity.INSULATION_CASE.takes("strokes")


def test_the_record_of_a_current_says_how_it_was_made() -> None:
    """A resistance asks for nothing; a leakage of the applied part for its type too."""
    assert [each for each in Quantity if each.records] == ["equipment", "applied_part", "patient", "touch"]
    assert not_told(Quantity.EQUIPMENT, Context("2", "", "direct", Decimal(230))) == ()
    assert not_told(Quantity.PATIENT, Context("2")) == ("applied_part", "method", "mains_v")
    assert not_told(Quantity.EARTH_LEAD, Context()) == ()
