"""The battery figure, read back from its SVG."""

from datetime import date, timedelta
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from fleet.batteries.figure import (
    BOTTOM,
    HEIGHT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    Crossing,
    Kind,
    Plot,
    Point,
    Stage,
    draw,
    legend,
    legend_of_forecast,
)

TODAY = date(2026, 11, 25)
POINTS = [
    Point(date(2023, 9, 1), 1.01, Kind.FULL),
    Point(date(2024, 9, 1), 0.95, Kind.FULL),
    Point(date(2025, 3, 1), 0.61, Kind.EARLY),
    Point(date(2025, 9, 1), 0.7, Kind.SHORT),
    Point(date(2025, 10, 1), 0.4, Kind.VOID),
    Point(date(2026, 9, 1), 0.9, Kind.OUTSIDE),
    Point(date(2024, 12, 1), 0.55, Kind.ASIDE),
    Point(date(2026, 3, 3), 1.04, Kind.JUMP),
]
CROSSING = Crossing(date(2027, 3, 1), date(2027, 12, 1), date(2028, 6, 1))
STAGES = [
    Stage(TODAY + timedelta(days=round(182.6 * step)), 0.84 - 0.03 * step, 0.86 - 0.025 * step, 0.88 - 0.02 * step)
    for step in range(11)
]


def a_plot(**facts: Any) -> Plot:
    usual = {"key": "pack-1", "pack": "P00001", "today": TODAY, "level": 0.8, "points": POINTS, "stages": STAGES}
    return Plot(**{**usual, "since": date(2022, 9, 1), "next_visit": date(2027, 3, 14), **facts})


def drawn(**facts: Any) -> ET.Element:
    """The figure as a tree; a drawing that is not well-formed fails here."""
    return ET.fromstring(draw(a_plot(**facts)))  # noqa: S314 - our own drawing


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [element for element in root.iter() if name in element.get("class", "").split()]


def said(root: ET.Element) -> list[str]:
    return [(element.text or "").replace("\u00a0", " ") for element in root.iter("text")]


@pytest.mark.parametrize("kind", Kind)
def test_each_test_is_drawn_once_in_the_shape_of_its_kind(kind: Kind) -> None:
    """As many marks of a kind as there are tests of it, and only full tests are filled."""
    marks = of_class(drawn(), f"battery-{kind.value}")
    assert len(marks) == sum(point.kind is kind for point in POINTS)
    assert {mark.get("fill") for mark in marks} == {"currentColor" if kind is Kind.FULL else "none"}


def test_kinds_differ_by_shape_and_not_by_colour_alone() -> None:
    """No two kinds share a path."""
    shapes = {mark.get("class"): mark.get("d") for mark in of_class(drawn(), "battery-point")}
    assert len(set(shapes.values())) == len(shapes) == len(Kind)


def test_the_level_line_lies_at_its_level() -> None:
    """Among the rows of the axis the line lies between 70 and 90 %, halfway, with its words."""
    root = drawn()
    (line,) = of_class(root, "battery-level")
    rows = {row.text: float(row.get("y", "0")) - 4 for row in root.iter("text") if (row.text or "").endswith("0 %")}
    assert float(line.get("y1", "0")) == pytest.approx((rows["70 %"] + rows["90 %"]) / 2, abs=0.2)
    assert line.get("y1") == line.get("y2")
    assert "replace under 80 %" in said(root)


def test_today_and_the_next_visit_are_lines_with_their_dates() -> None:
    """Both days are told, today left of the visit."""
    root = drawn()
    (today,), (visit,) = of_class(root, "battery-today"), of_class(root, "battery-visit")
    assert float(today.get("x1", "0")) < float(visit.get("x1", "0"))
    assert {"today, 25 Nov 2026", "visit 14 Mar 2027"} <= set(said(root))


def test_a_late_visit_says_so_in_words() -> None:
    """A visit before today is told as late."""
    assert "visit 1 Nov 2026 is late" in said(drawn(next_visit=date(2026, 11, 1)))


def test_the_visit_after_the_next_is_a_line_too() -> None:
    """Both visits stand with their days, the later one right of the next, and each at a height of its own."""
    root = drawn(following_visit=date(2028, 3, 14))
    first, second = of_class(root, "battery-visit")
    assert float(first.get("x1", "0")) < float(second.get("x1", "0")) <= RIGHT
    assert first.get("y1") != second.get("y1")
    assert "then 14 Mar 2028" in said(root)
    assert "next visit 14 Mar 2027, then 14 Mar 2028" in (root[1].text or "").replace("\u00a0", " ")


def test_the_interval_of_the_crossing_lies_on_the_level_line() -> None:
    """Its bar begins where the days begin and lies at the height of the level, closed where the end is known."""
    root = drawn(crossing=CROSSING)
    (bar,), (level,) = of_class(root, "battery-crossing"), of_class(root, "battery-level")
    (visit,) = of_class(root, "battery-visit")
    path = bar.get("d", "")
    start = float(path.removeprefix("M").split()[0])
    assert start == pytest.approx(float(visit.get("x1", "0")), abs=4)
    assert f" {level.get('y1')}H" in path
    assert path.count("V") == 2


def test_an_interval_without_an_end_is_open() -> None:
    """An end beyond the horizon is an arrow at the edge, not a bar that looks like an end."""
    (bar,) = of_class(drawn(crossing=Crossing(date(2027, 3, 1), None, None)), "battery-crossing")
    assert bar.get("d", "").count("V") == 1
    assert f"L{RIGHT} " in bar.get("d", "")


@pytest.mark.parametrize("crossing", [None, Crossing(None, None, None), Crossing(date(2045, 1, 1), None, None)])
def test_without_an_interval_in_sight_there_is_no_bar(crossing: Crossing | None) -> None:
    """Neither bar nor key stands for days that are not known or beyond the picture."""
    assert not of_class(drawn(crossing=crossing), "battery-crossing")
    assert len(legend_of_forecast(a_plot(crossing=crossing))) == 1


def test_the_forecast_has_its_own_key() -> None:
    """Band and bar are told in words; without a forecast neither is."""
    assert [words.replace("\u00a0", " ") for _, words in legend_of_forecast(a_plot(crossing=CROSSING))] == [
        "Forecast: 8 of 10 such packs lie in the band",
        "8 of 10 fall under 80 % between these days",
    ]
    assert legend_of_forecast(a_plot(stages=[], crossing=CROSSING)) == []


def test_doubtful_marks_carry_their_word() -> None:
    """A test set aside, one that jumps and a void one are named beside their mark, for a look that skips the legend."""
    assert {"wrong?", "jump?", "void"} <= set(said(drawn()))


def test_whoever_does_not_see_the_figure_hears_the_advice_first() -> None:
    """The description begins with the sentence that the page gives as the advice."""
    assert (drawn(advice="Leave it in: no chance.")[1].text or "").startswith("Leave it in: no chance. 8 runtime")


def test_the_fan_opens_around_the_middle() -> None:
    """The band has as many corners above as below, and the middle runs between them from today on."""
    root = drawn()
    (fan,), (middle,) = of_class(root, "battery-fan"), of_class(root, "battery-middle")
    corners = [tuple(map(float, corner.split(","))) for corner in fan.get("points", "").split()]
    line = [tuple(map(float, corner.split(","))) for corner in middle.get("points", "").split()]
    upper, lower = corners[: len(line)], corners[len(line) :][::-1]
    assert len(corners) == 2 * len(line)
    assert all(top[1] <= mid[1] <= low[1] for top, mid, low in zip(upper, line, lower, strict=True))
    assert all(left[0] < right[0] for left, right in pairwise(line))


def test_without_a_forecast_only_the_tests_are_drawn() -> None:
    """Not enough data: points and level stand, no fan does, and the words say why."""
    root = drawn(stages=[], why_no_forecast="Not enough data: 2 packs, 8 needed.")
    assert len(of_class(root, "battery-point")) == len(POINTS)
    assert not of_class(root, "battery-fan")
    assert not of_class(root, "battery-middle")
    assert "Not enough data: 2 packs, 8 needed." in (root[1].text or "")


def test_everything_lies_within_the_frame() -> None:
    """Marks lie inside the axes and words inside the drawing, also for a visit years ahead and a test far off."""
    wild = [*POINTS, Point(date(2019, 1, 1), 1.4, Kind.FULL), Point(TODAY, 0.02, Kind.FULL)]
    root = drawn(points=wild, next_visit=date(2031, 1, 1))
    for mark in of_class(root, "battery-point"):
        x, y = map(float, mark.get("transform", "").removeprefix("translate(").removesuffix(")").split())
        assert LEFT <= x <= RIGHT
        assert TOP <= y <= BOTTOM
    for words in root.iter("text"):
        assert 0 <= float(words.get("x", "-1")) <= WIDTH
        assert 0 <= float(words.get("y", "-1")) <= HEIGHT


def test_no_test_at_all_still_makes_a_figure() -> None:
    """A pack without tests and forecast has its axes, level and today."""
    root = drawn(points=[], stages=[], since=None, next_visit=None)
    assert len(of_class(root, "battery-level")) == len(of_class(root, "battery-today")) == 1


def test_the_figure_carries_no_style_of_its_own() -> None:
    """The content policy allows neither a style attribute nor a script."""
    tags = {element.tag.lower() for element in drawn().iter()}
    assert not {"style", "script"} & tags
    assert not any(name.startswith(("style", "on")) for element in drawn().iter() for name in element.attrib)


def test_the_figure_has_a_title_and_a_description() -> None:
    """Whoever does not see it hears what it is, what is expected and where the numbers stand."""
    root = drawn()
    title, description = root[0], root[1]
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert "8 runtime tests; 86 % expected on 25 Nov 2026" in (description.text or "").replace("\u00a0", " ")


def test_a_strange_pack_number_stays_text() -> None:
    """Markup in a number is shown, not obeyed."""
    assert "<b>" in (drawn(pack="<b>")[0].text or "")


def test_the_legend_names_the_kinds_that_are_shown() -> None:
    """No kind without a mark stands in the legend."""
    assert [words for _, words in legend(a_plot(points=POINTS[:3]))] == [Kind.FULL.words, Kind.EARLY.words]
