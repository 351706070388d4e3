"""What is known of a driver's use, against readings worked by hand."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.core.usage import IDLE_FIRST, Ran, Said, Use, ran, use_of

NOW = datetime(2026, 11, 20, 12, 0, tzinfo=UTC)
TODAY = NOW.date()


def day(back: int) -> date:
    """So many days before today."""
    return TODAY - timedelta(days=back)


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ([], None),
        ([(day(0), 100.0)], None),
        ([(day(2), 90.0), (day(0), 100.0)], None),
        ([(day(3), 85.0), (day(0), 100.0)], Ran(day(3), day(0), 5.0)),
        ([(day(40), 0.0), (day(15), 30.0), (day(7), 70.0), (day(1), 100.0)], Ran(day(15), day(1), 5.0)),
        ([(day(40), 0.0), (day(7), 66.0), (day(1), 78.0)], Ran(day(40), day(1), 2.0)),
        ([(day(40), 50.0), (day(17), 100.0), (day(9), 100.0), (day(0), 100.0)], Ran(day(17), day(0), 0.0)),
        ([(day(15), 30.0), (day(2), 100.0), (day(0), 100.0)], Ran(day(15), day(0), 70 / 15)),
    ],
)
def test_how_a_counter_went(readings: list[tuple[date, float]], expected: Ran | None) -> None:
    """Stood still since the first reading that shows the same; else the rate over two weeks, or over what there is."""
    assert ran(readings) == expected


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({}, Use.UNKNOWN),
        ({"ran": Ran(day(14), day(0), 5.0)}, Use.LIKELY_USED),
        ({"ran": Ran(day(14), day(0), 0.4)}, Use.UNKNOWN),
        ({"ran": Ran(day(90), day(0), 0.0)}, Use.LIKELY_IDLE),
        ({"ran": Ran(day(90), day(0), 5.0)}, Use.UNKNOWN),
        ({"ran": Ran(day(29), day(15), 5.0)}, Use.UNKNOWN),
        ({"lent": True}, Use.LIKELY_USED),
        ({"ran": Ran(day(14), day(0), 5.0), "said": Said(in_use=False, at=NOW - timedelta(hours=2))}, Use.IDLE),
        ({"lent": True, "said": Said(in_use=False, at=NOW - timedelta(hours=25))}, Use.LIKELY_USED),
        ({"said": Said(in_use=True, at=NOW - timedelta(hours=24))}, Use.IN_USE),
        ({"said": Said(in_use=True, at=NOW - timedelta(hours=25))}, Use.UNKNOWN),
    ],
)
def test_what_is_known(facts: dict[str, object], expected: Use) -> None:
    """A word of the last day outweighs loan and counter; an old word, an old reading and a long span tell nothing."""
    assert use_of(NOW, **facts) is expected  # type: ignore[arg-type] # facts of several types


def test_idle_first_ends_with_what_is_in_use() -> None:
    """What can be fetched comes first, what is not known in the middle."""
    order = sorted(Use, key=IDLE_FIRST.__getitem__)
    assert order == [Use.IDLE, Use.LIKELY_IDLE, Use.UNKNOWN, Use.LIKELY_USED, Use.IN_USE]
