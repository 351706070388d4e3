"""Which drivers a safety notice concerns: natural order, ranges with both ends, lists, versions, packs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.matching import (
    Driver,
    Fit,
    Fitted,
    Line,
    check,
    fit,
    natural_key,
    pack_fits,
    shape,
    why_not,
    written_otherwise,
)

TEXTS = st.text(alphabet="aAbT0129- é٣", max_size=8)
NUMBERS = st.integers(min_value=0, max_value=10**12)


def driver(serial: str = "T150", software: str = "2.1", pack: Fitted | None = None, of: int = 1) -> Driver:
    return Driver(of, serial, software, pack)


@given(TEXTS, TEXTS, TEXTS)
def test_the_natural_order_is_an_order(one: str, two: str, three: str) -> None:
    """Of any two numbers one comes first or they are equal, and the order never runs in a circle."""
    a, b, c = natural_key(one), natural_key(two), natural_key(three)
    assert (a < b) + (b < a) + (a == b) == 1
    if a <= b <= c:
        assert a <= c


@given(NUMBERS, NUMBERS, st.integers(min_value=0, max_value=6))
def test_digits_count_as_numbers(one: int, two: int, zeros: int) -> None:
    """A serial with the smaller number comes first, however many zeros stand before it."""
    first, second = natural_key(f"SN{'0' * zeros}{one}"), natural_key(f"sn {two}")
    assert (first < second) is (one < two)
    assert (first == second) is (one == two)


@given(NUMBERS, NUMBERS, NUMBERS)
def test_a_range_takes_both_its_ends_and_all_between(one: int, two: int, other: int) -> None:
    """A serial of the range's own shape is in it just if its number is."""
    low, high = sorted((one, two))
    line = Line(device_type=1, serial_from=f"T{low}", serial_to=f"T{high}")
    check(line)
    assert fit([line], driver(f"T{low}")) == fit([line], driver(f"T{high}")) == Fit()
    assert (fit([line], driver(f"T{other}")) is not None) is (low <= other <= high)


@given(TEXTS, TEXTS)
def test_case_and_spaces_never_matter(one: str, two: str) -> None:
    """The same number typed otherwise is the same number."""
    spaced = " ".join(one.upper().lower())
    assert natural_key(spaced) == natural_key(one.upper().lower())
    assert (natural_key(one.upper()) == natural_key(two.upper())) == (natural_key(one) == natural_key(two))


@pytest.mark.parametrize(
    ("first", "last", "serial", "inside"),
    [
        ("T9", "T10", "T9", True),
        ("T9", "T10", "T10", True),
        ("T9", "T10", "T11", False),
        ("T9", "T100", "T20", True),
        ("T100", "T200", "T150B", True),
        ("T100", "T200", "T200A", False),
        ("T100", "T200", "U150", False),
        ("T100", "", "T99999", True),
        ("T100", "", "T99", False),
        ("", "T100", "T100", True),
        ("T0100", "T0200", "t 150", True),
    ],
)
def test_edges_of_a_range(first: str, last: str, serial: str, inside: bool) -> None:  # noqa: FBT001 - a column of the table
    """What stands at an end, just beyond it, or is written otherwise."""
    line = Line(device_type=1, serial_from=first, serial_to=last)
    assert (fit([line], driver(serial)) is not None) is inside


def test_a_range_that_ends_before_it_begins_is_refused() -> None:
    """Ends the wrong way round would match nobody; T10 after T9 is the right way."""
    check(Line(device_type=1, serial_from="T9", serial_to="T10"))
    with pytest.raises(BadValueError, match="lower end first") as refused:
        check(Line(device_type=1, serial_from="T10", serial_to="T9"))
    assert refused.value.field == "serial_to"
    with pytest.raises(BadValueError) as refused:
        check(Line(device_type=1, code_from="2402", code_to="2401"))
    assert refused.value.field == "code_to"


def test_a_serial_in_the_list_fits_beside_the_range() -> None:
    """Range and list are alternatives; the type and the version must hold besides."""
    line = Line(device_type=1, serial_from="T1", serial_to="T5", serials=("X-77", "T0020"), software=("2.1",))
    assert [bool(fit([line], driver(each))) for each in ("T3", "x-77", "T20", "T6")] == [True, True, True, False]
    assert fit([line], driver("T3", software="2.2")) is None
    assert fit([line], driver("T3", of=2)) is None


def test_only_the_type_takes_every_driver_of_it() -> None:
    """A line without more is about the whole type; no line is about nobody."""
    assert fit([Line(device_type=1)], driver("anything", software="")) == Fit()
    assert fit([], driver()) is None


def test_what_is_not_on_record_lets_no_driver_escape() -> None:
    """A version, a pack or a date code that nobody knows counts, and is said."""
    versions = Line(device_type=1, software=("2.1",))
    assert fit([versions], driver(software="")) == Fit(("its software version is not on record",))
    packs = Line(device_type=1, pack_part="FC-7", code_from="2401", code_to="2412")
    assert fit([packs], driver()) == Fit(("its pack is not on record",))
    assert fit([packs], driver(pack=Fitted("FC-7"))) == Fit(("the date code of its pack is not on record",))
    assert fit([packs], driver(pack=Fitted("fc-7", "2406"))) == Fit()
    assert fit([packs], driver(pack=Fitted("FC-7", "2501"))) is None
    assert fit([packs], driver(pack=Fitted("FC-8", "2406"))) is None


def test_a_line_that_is_certain_stands_before_one_that_supposes() -> None:
    """A driver that fits one line for sure is not told as unsure for another."""
    lines = [Line(device_type=1, software=("2.1",)), Line(device_type=1, serial_from="T100", serial_to="T200")]
    assert fit(lines, driver(software="")) == Fit()


def test_packs_on_a_shelf_fit_by_part_and_code() -> None:
    """A line about drivers alone names no pack."""
    assert not pack_fits(Line(device_type=1), Fitted("FC-7", "2406"))
    line = Line(device_type=1, pack_part="FC-7", code_to="2412")
    assert pack_fits(line, Fitted("FC-7", "2406"))
    assert pack_fits(line, Fitted("FC-7"))
    assert not pack_fits(line, Fitted("FC-7", "2501"))


def test_a_serial_written_unlike_the_range_is_told() -> None:
    """One with another prefix falls outside by its letters: a person looks. One of the range's shape needs none."""
    line = Line(device_type=1, serial_from="T100", serial_to="T200")
    assert written_otherwise([line], driver("SN-T150"))
    assert not written_otherwise([line], driver("T999"))
    assert not written_otherwise([line], driver("T150"))
    assert not written_otherwise([Line(device_type=1)], driver("SN-T150"))
    assert shape("T0012") == shape("t9") == ("t", "#")


def test_why_a_driver_matches_no_more() -> None:
    """The first line of its type says what differs now."""
    line = Line(device_type=1, serial_from="T1", serial_to="T5", software=("2.1",), pack_part="FC-7")
    assert why_not([line], driver("T3", software="2.2")) == "its software version is 2.2"
    assert why_not([line], driver("T9", pack=Fitted("FC-8", "2401"))) == (
        "its serial number is T9 and its pack is FC-8 2401"
    )
    assert why_not([line], driver(of=2)) == "no driver of its type is concerned"
