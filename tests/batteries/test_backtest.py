"""How good the forecasts have been: past ones, held against what came of them, as rows, page, job and command."""

from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from fleet.batteries import actions, queries
from fleet.batteries.models import Backtest, Fitting
from fleet.batteries.tasks import backtest
from fleet.jobs.handlers import Run, kinds
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_history, a_logged_test, signed_in, words
from tests.builders import BY, a_type

pytestmark = pytest.mark.django_db

TODAY = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def worn_out(device: Device, on: date) -> None:
    """A last test at 70 %, after which the pack goes as worn."""
    start = datetime(on.year, on.month, on.day, 8, 0, tzinfo=UTC)
    a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=4.9))
    actions.remove(device, on=on, why=Fitting.Why.WORN, by=BY, out_of_use=True)


def a_long_record(device_type: DeviceType | None = None) -> list[Device]:
    """Twelve packs tested in three years; two wear out after that, one goes for its age."""
    devices = a_history(device_type=device_type)
    for device in devices[:2]:
        worn_out(device, date(2026, 9, 1))
    actions.remove(devices[2], on=date(2026, 8, 1), why=Fitting.Why.AGE, by=BY, out_of_use=True)
    return devices


def run(**options: object) -> list[Backtest]:
    with clock.at(TODAY):
        return actions.run_backtests(at=TODAY, **options)


def told(*options: str) -> str:
    out = StringIO()
    with clock.at(TODAY):
        call_command("backtest", *options, stdout=out, stderr=out)
    return out.getvalue().replace("\u00a0", " ")


def good(client: Client, query: str = "") -> str:
    with clock.at(TODAY):
        return words(client, f"/batteries/how-good/?{query}")


def test_each_type_and_all_together_get_a_row() -> None:
    """A run keeps one row a type and one for all; a type with too few tests says why it has no score."""
    a_long_record()
    other = a_type(model="Other 9")
    a_fitted_device(device_type=other)
    rows = {row.device_type: row for row in run()}
    assert set(rows) == {a_type(), other, None}
    assert "8 full tests" in rows[other].why_not
    assert not rows[other].result
    scored = rows[a_type()]
    assert scored.packs == 12
    assert scored.origins == len(scored.result["origins"])
    assert scored.first_origin < scored.last_origin < TODAY.date()
    best = scored.result["ways"]["bend"]
    assert best["known"] == 2
    assert set(scored.result["ways"]) == set(queries.WAY_NAMES)
    assert rows[None].result["ways"] == scored.result["ways"]


def test_earlier_runs_are_kept_and_the_latest_is_shown() -> None:
    """A second run changes nothing of the first."""
    a_long_record()
    first = run()
    run(device_type=a_type())
    assert Backtest.objects.count() == len(first) + 1
    assert queries.latest_backtest(a_type()).pk > max(row.pk for row in first)


def test_nothing_that_came_later_is_looked_at() -> None:
    """Held at December 2025, a run finds the same whether or not anything is on record of 2026."""
    devices = a_history()
    then = datetime(2025, 12, 1, 9, 0, tzinfo=UTC)
    with clock.at(then):
        (before,) = actions.run_backtests(at=then, device_type=a_type())
    worn_out(devices[0], date(2026, 9, 1))
    with clock.at(then):
        (after,) = actions.run_backtests(at=then, device_type=a_type())
    assert before.result == after.result


def test_a_hospital_without_packs_has_a_row_that_says_so() -> None:
    """The weekly job does not fail on an empty record."""
    (row,) = run()
    assert row.device_type is None
    assert row.why_not
    with clock.at(TODAY):
        counts = backtest(Run(1, "backtest", {}, TODAY.date(), 1, lambda _done, _total: None))
    assert counts == {"packs scored": 0, "types": 0}


def test_the_job_is_known_by_words_and_says_how_far_it_is() -> None:
    """It stands on the timetable's page, and its progress rises to the whole."""
    a_long_record()
    heard: list[tuple[int, int | None]] = []
    with clock.at(TODAY):
        counts = backtest(Run(1, "backtest", {}, TODAY.date(), 1, lambda *step: heard.append(step)))
    assert counts == {"packs scored": 12, "types": 1}
    assert heard == sorted(heard)
    assert heard[-1][0] == heard[-1][1]
    assert "came of them" in kinds()["backtest"].words


def test_the_command_prints_a_table_a_type() -> None:
    """Every way has a row under its type, and the columns are explained."""
    a_long_record()
    text = told()
    for name in queries.WAY_NAMES.values():
        assert text.count(f"\n  {name} ") == 2, name
    assert "All types" in text
    assert "2 of the packs are known to have crossed" in text
    assert "Correction from now on: none" in text
    assert "before 5 %   share that crossed" in text


def test_the_command_takes_a_type_and_the_months_between() -> None:
    """Part of a name will do; an unknown one names those that there are; months must be months."""
    a_long_record()
    assert "All types" not in told("--type", a_type().model[:5].upper(), "--months", "12")
    assert Backtest.objects.get().result["months"] == 12
    with pytest.raises(CommandError, match=r"No device type has 'zzz'.*Known types"):
        told("--type", "zzz")
    with pytest.raises(CommandError, match="number of months"):
        told("--months", "0")


def test_the_page_says_it_in_words_first(desk: Client) -> None:
    """How many forecasts, how many crossings, what the band held, and how a plain line would have done."""
    a_long_record()
    run()
    page = good(desk)
    assert "2 of these packs have fallen under their level since" in page
    assert "came inside the band that should hold 80 of 100" in page
    assert "a straight line through the tests of each pack would have made that" in page
    assert page.index("came inside the band") < page.index("battery-calibration") < page.index("Against other ways")
    assert 'data-label="Way">Our forecast, corrected<' in page
    for title in ("By full tests before the date", "By pool", "By type"):
        assert title in page
    assert "3 tests or more" in page


def test_one_type_can_be_chosen(desk: Client) -> None:
    """Its own scores, whether it is corrected, and no list of types; an unknown type shows all."""
    a_long_record()
    run()
    page = good(desk, f"type={a_type().pk}")
    assert "Forecasts of this type are not corrected yet" in page
    assert "By type" not in page
    Backtest.objects.filter(device_type=a_type()).update(correction_ranks=31)
    assert "What 31 known crossings showed corrects" in good(desk, f"type={a_type().pk}")
    assert "By type" in good(desk, "type=0")


def test_nothing_yet_is_said(desk: Client) -> None:
    """Before the first run, and where nothing could be scored, a sentence stands in place of a score."""
    assert "No forecast has been held against what came of it yet" in good(desk)
    assert '<svg class="plot' not in good(desk)
    a_fitted_device()
    run()
    assert "8 full tests" in good(desk)
    assert saved(desk) == 1


def saved(client: Client) -> int:
    with clock.at(TODAY):
        answer = client.get("/batteries/how-good.csv")
    return len(b"".join(answer.streaming_content).decode().splitlines())


def test_the_scores_can_be_saved(desk: Client) -> None:
    """One line a way, and two a part: before and after correction."""
    a_long_record()
    run()
    shown = queries.backtest_view(queries.latest_backtest(None))
    parts = sum(len(lines) for _, _, lines in shown.parts)
    assert saved(desk) == 1 + len(queries.WAY_NAMES) + 2 * parts


def test_the_page_is_for_those_who_see_the_fleet(ward_nurse: Person, desk: Client) -> None:
    """A ward nurse is refused; the rooms' list leads others here."""
    ward = signed_in(ward_nurse)
    for address in ("/batteries/how-good/", "/batteries/how-good.csv"):
        assert ward.get(address).status_code == 403
    assert "/batteries/how-good/" in words(desk, "/batteries/fleet/")
