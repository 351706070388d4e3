"""Digests of a record, by which a signature tells whether anything was changed."""

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from fleet.core.errors import BadValueError
from fleet.core.sealing import differing, seal, seal_parts

NOON = datetime(2027, 3, 14, 12, 0, tzinfo=UTC)


def test_the_digest_is_the_published_one() -> None:
    """The text "abc" as JSON is its own SHA-256, and bytes are digested first: FIPS 180-4's example for "abc"."""
    # NIST, FIPS 180-4 example values: SHA-256("abc") = ba7816bf 8f01cfea 414140de 5dae2223 b00361a3 96177a9c b410ff61
    # f20015ad. Bytes stand in the JSON as this text, in quotes.
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert seal(b"abc") == seal(published)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Decimal("4.90"), Decimal("4.9")),
        ({"b": 1, "a": 2}, {"a": 2, "b": 1}),
        (NOON, NOON.astimezone(timezone(timedelta(hours=2)))),
        ((1, "x"), [1, "x"]),
        (memoryview(b"log"), b"log"),
    ],
)
def test_what_is_equal_has_one_digest(one: object, other: object) -> None:
    """Trailing zeros, the order of names and the time zone change nothing."""
    assert seal(one) == seal(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Decimal("4.9"), Decimal("4.91")),
        ("1", 1),
        (None, ""),
        (NOON, NOON + timedelta(microseconds=1)),
        (date(2027, 3, 14), date(2027, 3, 15)),
        ([1, 2], [2, 1]),
        ({"a": {"b": True}}, {"a": {"b": False}}),
    ],
)
def test_what_differs_has_another_digest(one: object, other: object) -> None:
    """The smallest change of a value, a kind or an order is seen."""
    assert seal(one) != seal(other)


def test_what_cannot_be_compared_is_not_sealed() -> None:
    """An object without content of its own is refused in words."""
    with pytest.raises(BadValueError, match="no content that can be signed"):
        seal({"a": object()})


def test_parts_that_differ_are_named() -> None:
    """A changed, a missing and a new part are told by name; equal ones are not."""
    signed = seal_parts({"step 1": 1, "step 2": 2, "minutes": 30})
    now = seal_parts({"step 1": 1, "step 2": 3, "step 4": 4})
    assert differing(signed, now) == ("step 2", "step 4", "minutes")
    assert differing(signed, signed) == ()
