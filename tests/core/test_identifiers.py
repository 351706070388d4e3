"""Tag and order numbers, and telling apart what a scanner gives."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.identifiers import (
    CHECK_LETTERS,
    ScanKind,
    hyphenated,
    order_number,
    read_any,
    read_order_number,
    read_tag_number,
    tag_number,
)

YEAR = 2026
SEQUENCES = st.integers(1, 10**14)
NUMBERS = st.one_of(SEQUENCES.map(tag_number), SEQUENCES.map(order_number))
SYMBOLS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def caught(text: str) -> bool:
    """Whether a text is refused both as a tag number and as an order number."""
    for read in (read_tag_number, read_order_number):
        try:
            read(text)
        except BadValueError:
            continue
        return False
    return True


def test_alphabet_is_prime_and_unambiguous() -> None:
    """The check letters are 23, all different, without those that look like digits in handwriting."""
    assert len(set(CHECK_LETTERS)) == len(CHECK_LETTERS) == 23
    assert not set(CHECK_LETTERS) & set("IOS")


def test_numbers_as_written() -> None:
    """A number has four digits at least and one letter, a W before an order's, and a hyphen where it is shown."""
    assert (tag_number(7), tag_number(4821), tag_number(1234567)) == ("0007H", "4821Q", "1234567W")
    assert (order_number(7), order_number(4821)) == ("W0007E", "W4821M")
    assert hyphenated(tag_number(4821)) == "4821-Q"
    assert hyphenated(order_number(4821)) == "W4821-M"


@pytest.mark.parametrize("sequence", [0, -3])
def test_numbers_count_from_one(sequence: int) -> None:
    """There is no number zero, neither to give out nor to read."""
    for number in (tag_number, order_number):
        with pytest.raises(BadValueError, match="from 1 on"):
            number(sequence)
    with pytest.raises(BadValueError):
        read_tag_number("0000A")


@given(SEQUENCES)
def test_numbers_read_back(sequence: int) -> None:
    """Every number given out reads back to its sequence, plain and with its hyphen."""
    for number, read in ((tag_number(sequence), read_tag_number), (order_number(sequence), read_order_number)):
        assert read(number) == sequence
        assert read(hyphenated(number)) == sequence


@given(NUMBERS)
def test_every_wrong_symbol_is_caught(text: str) -> None:
    """No single symbol can be replaced by any other without being refused."""
    for place, symbol in itertools.product(range(len(text)), SYMBOLS):
        if symbol != text[place]:
            assert caught(text[:place] + symbol + text[place + 1 :])


@given(NUMBERS)
def test_every_swap_of_neighbours_or_across_one_is_caught(text: str) -> None:
    """No two neighbouring symbols, nor two with one between, can change places without being refused."""
    for distance in (1, 2):
        for place in range(len(text) - distance):
            swapped = list(text)
            swapped[place], swapped[place + distance] = text[place + distance], text[place]
            if "".join(swapped) != text:
                assert caught("".join(swapped))


@given(NUMBERS)
def test_every_wrong_twin_is_caught(text: str) -> None:
    """A doubled digit cannot be read as another doubled digit."""
    twins = [place for place in range(len(text) - 1) if text[place] == text[place + 1]]
    for place, digit in itertools.product(twins, "0123456789"):
        if digit != text[place]:
            assert caught(text[:place] + digit * 2 + text[place + 2 :])


def test_all_errors_in_the_first_ten_thousand() -> None:
    """Without sampling: for every four-digit tag, each wrong digit, swap of neighbours and prefix W is refused."""
    letters = {f"{sequence:04d}": tag_number(sequence)[-1] for sequence in range(1, 10000)}
    for digits, letter in letters.items():
        for place, digit in itertools.product(range(4), "0123456789"):
            wrong = digits[:place] + digit + digits[place + 1 :]
            assert wrong == digits or letters.get(wrong) != letter
        for place in range(3):
            swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
            assert swapped == digits or letters.get(swapped) != letter


@given(SEQUENCES)
def test_a_prefix_lost_or_added_is_caught(sequence: int) -> None:
    """An order number without its W is no tag number, and a tag number with a W is no order number."""
    assert caught(order_number(sequence)[1:])
    assert caught("W" + tag_number(sequence))


@pytest.mark.parametrize(
    "typed",
    [
        "4821Q",
        "4821-q",
        " 4821 - Q ",
        "48 21 Q",
        "tag 4821-Q",
        "TAG: 4821Q",
        "Tag no. 4821-Q",
        "tag number 4821 Q",
        "tag4821q",
        "#4821-Q",
        "4821\u2013Q",
        "4821\u2011q\r\n",
    ],
)
def test_tag_numbers_are_read_as_people_type_them(typed: str) -> None:
    """Case, spaces, any hyphen or dash and a leading word make no difference."""
    assert read_tag_number(typed) == 4821
    scan = read_any(typed, YEAR)
    assert (scan.kind, scan.sequence) == (ScanKind.TAG, 4821)


@pytest.mark.parametrize("typed", ["W4821-M", "w4821m", "order W4821-M", "W 4821 M"])
def test_order_numbers_are_read_as_people_type_them(typed: str) -> None:
    """An order number is read as freely."""
    assert read_order_number(typed) == 4821
    assert read_any(typed, YEAR).kind is ScanKind.ORDER


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "at least four digits and one check letter"),
        ("4821", "at least four digits and one check letter"),
        ("482Q", "at least four digits and one check letter"),
        ("4821-O", "at least four digits and one check letter"),
        ("W4821-M", "is no tag number"),
        ("4821-K", "misread or mistyped: its check letter does not fit"),
        ("\u0664\u0668\u0662\u0661-Q", "is no tag number"),
    ],
)
def test_a_refused_tag_number_says_why_but_not_the_letter(typed: str, words: str) -> None:
    """The refusal says what a tag number looks like, or that it was misread, and never gives the letter away."""
    with pytest.raises(BadValueError, match=words) as caught_error:
        read_tag_number(typed)
    assert caught_error.value.field == "tag number"
    assert "4821-Q" not in str(caught_error.value)


def test_a_refused_order_number_names_its_prefix() -> None:
    """A tag number offered as an order number is refused with the W that an order number begins with."""
    with pytest.raises(BadValueError, match="after a W"):
        read_order_number("4821-Q")


@pytest.mark.parametrize("text", ["AX-1007", "", "  ", "SN 4821", "48.21Q", "TW10/00731", "\u00fc4821Q"])
def test_anything_else_is_plain_text(text: str) -> None:
    """What has no other form is looked up as an asset or serial number, trimmed."""
    scan = read_any(text, YEAR)
    assert (scan.kind, scan.text, scan.problem) == (ScanKind.TEXT, text.strip(), "")


def test_a_misread_tag_is_plain_text_with_a_problem() -> None:
    """A text in the form of a tag whose letter does not fit may be an asset number; the doubt comes along."""
    scan = read_any("4821-K", YEAR)
    assert (scan.kind, scan.sequence) == (ScanKind.TEXT, None)
    assert "check letter does not fit" in scan.problem


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("https://bench.example/r/abc.def?x=1#y", "/r/abc.def"),
        ("HTTP://bench.example:8000/r/ABC", "/r/ABC"),
        (" https://bench.example ", ""),
        ("http://[broken", ""),
    ],
)
def test_links_give_their_path(text: str, path: str) -> None:
    """A label's link is known by its scheme and gives the path alone; a broken one gives none and raises nothing."""
    scan = read_any(text, YEAR)
    assert (scan.kind, scan.text) == (ScanKind.LINK, path)


def test_a_udi_is_read_or_says_why_not() -> None:
    """A scanned UDI comes back read; a damaged one comes back as a UDI with its problem."""
    good = read_any("]d2010950600013435221SN1", YEAR)
    assert good.kind is ScanKind.UDI
    assert good.udi is not None
    assert good.udi.serial == "SN1"
    bad = read_any("]d2010950600013435321SN1", YEAR)
    assert (bad.kind, bad.udi) == (ScanKind.UDI, None)
    assert "check digit does not fit" in bad.problem


@given(st.text(max_size=60))
def test_reading_anything_never_fails(text: str) -> None:
    """Whatever a scanner or a person sends, it is classified and nothing is raised."""
    assert read_any(text, YEAR).kind in ScanKind


@given(st.from_regex(r"\A(\]d2|\(01\)|01|\+)[0-9A-Z()\x1d$/ ]{0,50}\Z"))
def test_reading_anything_like_a_udi_never_fails(text: str) -> None:
    """Texts in the shape of a UDI are read or carry a problem, and raise nothing."""
    scan = read_any(text, YEAR)
    assert scan.kind is not ScanKind.UDI or (scan.udi is None) == bool(scan.problem)
