"""The figure of the packs needed month by month and of the stock that runs down with them."""

import re
from datetime import date, timedelta
from typing import Any

import pytest

from fleet.batteries.demand_plot import DEMAND, STOCK, Delivery, Month, Plot, draw, empty_on, left_at, stock_line

TODAY = date(2026, 12, 1)


def a_plot(**facts: Any) -> Plot:
    """Two packs a month for two years, from 1 December 2026, with 9 on the shelf."""
    firsts = [date(2026 + (11 + number) // 12, (11 + number) % 12 + 1, 1) for number in range(24)]
    usual = {
        "key": "demand-1",
        "name": "Tarnwick TW-10",
        "today": TODAY,
        "months": [Month(first, 1, 2, 4) for first in firsts],
        "asked": [0] * 24,
        "needed": [2.0 * (number + 1) for number in range(24)],
        "on_shelf": 9,
    }
    return Plot(**{**usual, **facts})


def test_the_stock_is_empty_when_the_expected_need_has_used_it() -> None:
    """9 packs at 2 a month last four months and a half: 1 December 2026 to the middle of April 2027."""
    assert empty_on(a_plot()) == date(2027, 4, 16)


def test_a_stock_that_lasts_is_never_empty() -> None:
    """49 packs outlast the 48 of two years."""
    plot = a_plot(on_shelf=49)
    assert empty_on(plot) is None
    assert stock_line(plot)[-1] == (date(2028, 12, 1), 1.0)


def test_an_empty_shelf_is_empty_today() -> None:
    """Without a pack in stock there is nothing to run down."""
    assert empty_on(a_plot(on_shelf=0)) == TODAY


def test_a_delivery_before_the_end_puts_it_off() -> None:
    """10 more on 1 February 2027 make 19 in all, which last nine months and a half: to the middle of September."""
    plot = a_plot(deliveries=[Delivery(date(2027, 2, 1), 10)])
    assert empty_on(plot) == date(2027, 9, 16)


def test_the_line_rises_on_the_day_of_the_delivery() -> None:
    """5 are left of 9 when 10 come on 1 February 2027: the line stands at both on that day."""
    line = stock_line(a_plot(deliveries=[Delivery(date(2027, 2, 1), 10)]))
    assert [count for on, count in line if on == date(2027, 2, 1)] == [5.0, 15.0]


def test_a_delivery_after_the_end_first_makes_up_for_what_was_lacking() -> None:
    """The line lies at zero from April on; on 1 June 12 were needed, so that 7 of the 10 are left."""
    plot = a_plot(deliveries=[Delivery(date(2027, 6, 1), 10)])
    assert empty_on(plot) == date(2027, 4, 16)
    assert left_at(plot, date(2027, 5, 1)) == 0
    assert left_at(plot, date(2027, 6, 1)) == pytest.approx(7)


def test_the_line_never_lies_under_zero_and_bends_where_it_meets_it() -> None:
    """The day on which the shelf is empty is a corner of the line."""
    line = stock_line(a_plot())
    assert min(count for _, count in line) == 0
    assert (date(2027, 4, 16), 0.0) in line


def test_in_the_middle_of_a_month_only_the_rest_of_it_is_to_come() -> None:
    """What the first month needs is spread from today to its end, and today everything is there."""
    plot = a_plot(today=date(2026, 12, 17))
    assert stock_line(plot)[:2] == [(date(2026, 12, 17), 9.0), (date(2027, 1, 1), 7.0)]


def test_each_month_has_its_column_and_its_bar() -> None:
    """24 columns from the low to the high number, 24 bars at the middle, all within their panel."""
    svg = draw(a_plot())
    columns = re.findall(r'<rect class="battery-fan" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    assert len(columns) == svg.count('class="battery-middle"') == 24
    tops, heights = [float(column[1]) for column in columns], [float(column[3]) for column in columns]
    assert min(tops) >= DEMAND[0]
    assert all(top + height <= DEMAND[1] for top, height in zip(tops, heights, strict=True))
    # From 1 to 4 of 4 packs: three quarters of the panel.
    assert heights[0] == pytest.approx(0.75 * (DEMAND[1] - DEMAND[0]), abs=0.2)


def test_what_the_limits_ask_for_stands_as_outlines_to_scale() -> None:
    """One outline for each month that has any, 8 of 8 packs high in the first; a month without has none."""
    svg = draw(a_plot(asked=[8, 0, 3] + [0] * 21))
    outlines = re.findall(r'<rect class="battery-asked" x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', svg)
    assert len(outlines) == 2
    assert [float(height) for _, height in outlines] == pytest.approx(
        [DEMAND[1] - DEMAND[0], 3 / 8 * (DEMAND[1] - DEMAND[0])], abs=0.2
    )
    assert all(float(top) + float(height) == pytest.approx(DEMAND[1]) for top, height in outlines)
    assert "The limits ask for 11 replacements, 8 of them in Dec\xa02026." in svg
    assert "The limits ask" not in draw(a_plot())


def test_the_stock_meets_zero_on_the_floor_of_its_panel() -> None:
    """The mark of the empty shelf stands on the panel's lower edge, with the month beside it."""
    svg = draw(a_plot())
    assert f'cy="{STOCK[1]}"' in svg
    assert "none left Apr\xa02027" in svg


def test_packs_on_order_are_told_with_their_day() -> None:
    """The delivery stands in the figure and in its words; one beyond the months shown only in its words."""
    near = draw(a_plot(deliveries=[Delivery(date(2027, 2, 1), 10)]))
    assert near.count("10 to come, 1\xa0Feb\xa02027") == 1
    assert "10\xa0packs expected on 1\xa0Feb\xa02027" in near
    assert "to come" not in draw(a_plot(deliveries=[Delivery(TODAY + timedelta(days=4000), 10)]))


def test_who_does_not_see_it_is_told() -> None:
    """Title and description say what is in stock, until when, and how much a month may need."""
    svg = draw(a_plot())
    assert '<title id="demand-1-title">Packs of Tarnwick TW-10, month by month</title>' in svg
    assert "9\xa0packs in stock today, which run out about 16\xa0Apr\xa02027. At most 4\xa0packs a month" in svg
    assert "which last beyond Nov\xa02028" in draw(a_plot(on_shelf=100))


def test_a_name_cannot_break_out_of_the_figure() -> None:
    """What a person typed as a type's name stays text."""
    assert "<script>" not in draw(a_plot(name="<script>alert(1)</script>"))


@pytest.mark.parametrize("count", [0, 1, 7, 60, 900, 40_000])
def test_any_number_of_packs_fits(count: int) -> None:
    """The scales grow with the numbers, and never have more than five lines."""
    svg = draw(a_plot(on_shelf=count, months=[Month(month.first, 0, count, count) for month in a_plot().months]))
    # No inline style, and no number outside the drawing.
    assert "style=" not in svg
    assert 4 <= svg.count('text-anchor="end"') <= 12


def test_nothing_needed_draws_too() -> None:
    """A fleet that needs no pack has flat columns and a level stock."""
    empty = a_plot(months=[Month(month.first, 0, 0, 0) for month in a_plot().months], needed=[0.0] * 24)
    assert empty_on(empty) is None
    assert 'height="0.0"' in draw(empty)
