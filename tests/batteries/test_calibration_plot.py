"""The figure of what was said against what came true."""

import re
from xml.etree import ElementTree as ET

from fleet.batteries.calibration_plot import BOTTOM, TOP, Column, Plot, draw, legend

FIRST = Column(0.0, 0.05, 812, 0.01, 0.02, 0.01, 0.04)
LAST = Column(0.75, 1.0, 40, 0.9, 0.5, 0.3, 0.7)


def heights(svg: str, name: str) -> list[float]:
    """Where the marks of a class stand."""
    group = svg[svg.index(f'<g class="{name}">') :]
    return [float(y) for y in re.findall(r"translate\([\d.]+ ([\d.]+)\)", group)]


def test_marks_stand_at_the_share_that_came_true() -> None:
    """0.5 is half way up; the dash of what was said is higher where less came."""
    svg = draw(Plot("k", [FIRST, LAST]))
    ET.fromstring(svg)  # noqa: S314 - our own drawing
    assert heights(svg, "battery-came")[1] == (TOP + BOTTOM) / 2
    said = [float(y) for y in re.findall(r'class="battery-said" x1="[\d.]+" y1="([\d.]+)"', svg)]
    assert said[1] < heights(svg, "battery-came")[1]


def test_the_number_of_forecasts_stands_in_each_column() -> None:
    """With the range of the chances above it, and all of it in words for those who do not see."""
    svg = draw(Plot("k", [FIRST, LAST]))
    assert ">0\u20135<" in svg
    assert ">812<" in svg
    assert "75\u2013100 % said: 50 % of 40 came true" in svg


def test_the_corrected_stand_beside_only_where_there_are_some() -> None:
    """A diamond beside each dot, and in the legend; without correction neither."""
    alone, both = Plot("k", [FIRST]), Plot("k", [FIRST], [LAST])
    assert "battery-corrected" not in draw(alone)
    assert len(legend(alone)) == 2
    svg = draw(both)
    assert 'class="battery-corrected"' in svg
    assert len(legend(both)) == 3
    assert ">0</text>" in svg


def test_nothing_is_styled_in_line() -> None:
    """The content policy allows presentation attributes and classes."""
    assert "style=" not in draw(Plot("k", [FIRST], [LAST]))
