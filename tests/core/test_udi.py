"""Reading unique device identifiers, and the ways in which they come damaged."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.udi import GS, Issuer, gs1_check_digit, gs1_date, hibc_check_character, looks_like_udi, parse_udi

YEAR = 2026
GTIN = "09506000134352"  # a GTIN of the range that GS1 keeps for examples
DI = f"01{GTIN}"
VALUES = st.text("ABCDEFGHJKLMNPQRTUVWXYZ345678", min_size=1, max_size=20)
DATES = st.dates(date(1977, 1, 1), date(2076, 12, 31))


@given(VALUES, VALUES, DATES, DATES, st.permutations(["10", "11", "17", "21"]))
def test_every_order_of_elements_reads_the_same(
    serial: str, lot: str, expiry: date, made: date, order: list[str]
) -> None:
    """With separators, or bracketed, the elements come back whole in whatever order they stand, without a warning."""
    values = {"21": serial, "10": lot, "17": f"{expiry:%y%m%d}", "11": f"{made:%y%m%d}"}
    scanned = "]d2" + DI + "".join(key + values[key] + (GS if key in {"10", "21"} else "") for key in order)
    typed = f"(01){GTIN}" + "".join(f"({key}){values[key]}" for key in order)
    for raw in (scanned + GS, typed):
        udi = parse_udi(raw, YEAR)
        assert (udi.di, udi.serial, udi.lot, udi.expiry, udi.manufactured) == (GTIN, serial, lot, expiry, made)
        assert (udi.raw, udi.issuer, udi.warnings, udi.other) == (raw, Issuer.GS1, (), ())


@pytest.mark.parametrize("front", ["", "]d2", "]C1", "]Q3", "]e0", GS, f"]d2{GS}", "  ", "\r\n"])
def test_what_a_scanner_puts_in_front_is_dropped(front: str) -> None:
    """Symbology prefix, leading separator, blanks and line ends make no difference."""
    raw = f"{front}{DI}21SN1\r\n"
    udi = parse_udi(raw, YEAR)
    assert (udi.di, udi.serial, udi.raw) == (GTIN, "SN1", raw)
    assert looks_like_udi(raw)


@pytest.mark.parametrize("joint", ["17290200", "11290200", "1729020010LOT7", "10LOT7"])
def test_a_scanner_that_drops_separators_is_found_out(joint: str) -> None:
    """Without any separator, a serial that ends in what looks like another element is read with a warning."""
    udi = parse_udi(f"{DI}21SN{joint}", YEAR)
    assert udi.serial == f"SN{joint}"
    assert any("may have swallowed" in warning and joint[:8] in warning for warning in udi.warnings)


@pytest.mark.parametrize("raw", [f"{DI}1729020021SN117290200", f"{DI}21SN117290200{GS}", f"(01){GTIN}(21)SN117290200"])
def test_no_warning_where_nothing_can_be_swallowed(raw: str) -> None:
    """The warning stays away where the element stands on its own, a separator is there, or brackets mark the parts."""
    udi = parse_udi(raw, YEAR)
    assert udi.serial == "SN117290200"
    assert udi.warnings == ()


def test_a_value_too_long_names_the_missing_separator() -> None:
    """More than 20 characters are no serial: the code is refused, and the likely cause is named."""
    with pytest.raises(BadValueError, match="drops the separators") as caught:
        parse_udi(f"{DI}21SN1234567890123456789", YEAR)
    assert caught.value.field == "serial number"


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (f"{DI[:-1]}3", "check digit does not fit"),
        (f"(01){GTIN[:-1]}A", "check digit does not fit"),
        ("(01)0950600013435", "14 digits"),
        ("0195060001343", "14 digits"),
        (f"{DI}21", "1 to 20 characters"),
        (f"{DI}17290231", "is no date"),
        (f"{DI}17291301", "is no date"),
        (f"{DI}17290001", "is no date"),
        (f"{DI}1729023", "6 digits"),
        (f"{DI}1729AB01", "six digits"),
        ("(21)SN1", "no device identifier"),
        ("hello", "no device identifier"),
        ("", "no device identifier"),
        ("+", "no HIBC primary code"),
        ("+A123BJC5D6E71H", "check character does not fit"),
        ("+1123BJC5D6E71G", "no HIBC primary code"),
        ("+A123BJC5D6E71/$$52001510X3D", "check character does not fit"),
        ("+A123BJC5D6E71/$$5é001510X3D", "cannot stand in an HIBC code"),
    ],
)
def test_damaged_codes_are_refused_in_words(raw: str, words: str) -> None:
    """A wrong check digit, an impossible date or a missing part is refused and says which."""
    with pytest.raises(BadValueError, match=words):
        parse_udi(raw, YEAR)


@given(st.from_regex(r"[0-9]{7,13}", fullmatch=True), st.data())
def test_a_wrong_digit_never_passes(body: str, data: st.DataObject) -> None:
    """The GS1 check digit changes when any one digit of the number does."""
    place = data.draw(st.integers(0, len(body) - 1))
    for digit in "0123456789":
        if digit != body[place]:
            assert gs1_check_digit(body[:place] + digit + body[place + 1 :]) != gs1_check_digit(body)


def test_parts_that_are_not_known_are_left_out_with_a_warning() -> None:
    """An unknown element ends at the next separator, is named in a warning, and harms nothing else."""
    for raw in (f"{DI}91ABC{GS}21SN1", f"(01){GTIN}(91)ABC(21)SN1"):
        udi = parse_udi(raw, YEAR)
        assert udi.serial == "SN1"
        assert udi.warnings == ('The part "91ABC" is not known here and was left out.',)


def test_further_elements_are_kept() -> None:
    """Elements without a field of their own are handed over with their application identifiers."""
    udi = parse_udi(f"{DI}8012V2.4{GS}250SUB7{GS}21SN1", YEAR)
    assert udi.other == (("8012", "V2.4"), ("250", "SUB7"))


def test_an_element_given_twice_is_pointed_out() -> None:
    """Two serials in one code: the last counts and a warning says so."""
    udi = parse_udi(f"(01){GTIN}(21)SN1(21)SN2", YEAR)
    assert udi.serial == "SN2"
    assert udi.warnings == ("The serial number stands in the code more than once; the last one was taken.",)


@given(DATES)
def test_dates_within_the_window_of_a_century_read_back(day: date) -> None:
    """Every date from 49 years before to 50 after the year of reading survives its two-digit year."""
    assert gs1_date(f"{day:%y%m%d}", YEAR) == day


def test_hibc_secondary_part_is_named_and_not_read() -> None:
    """A combined HIBC code gives its device identifier and says that the rest was left out."""
    udi = parse_udi("+A123BJC5D6E71/$$52001510X3C", YEAR)
    assert (udi.issuer, udi.di) == (Issuer.HIBCC, "A123BJC5D6E71")
    assert udi.warnings == ('The second part "$$52001510X3" is not read here.',)


def test_hibc_check_character_may_be_a_space_or_a_slash() -> None:
    """A check character that is a space at the end, or a slash, is not trimmed or taken for a second part."""
    codes = {f"+{letter}123{number:02d}1" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" for number in range(10)}
    reached = {hibc_check_character(code) for code in codes}
    assert {" ", "/"} <= reached
    assert all(parse_udi(code + hibc_check_character(code), YEAR).di == code[1:] for code in codes)


@pytest.mark.parametrize("text", ["AX-1007", "4821-Q", "0195060", "12345678901234", "(draft)", "+", "+44 20"])
def test_other_texts_do_not_look_like_a_udi(text: str) -> None:
    """Asset numbers, tag numbers, short digits and telephone numbers are not taken for a UDI."""
    assert not looks_like_udi(text)
