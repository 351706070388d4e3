"""How good the forecasts have been: past ones, held against what came of them."""

from collections.abc import Iterator
from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.batteries import calibration_plot as plots
from fleet.batteries import queries
from fleet.batteries.queries import BacktestView, ChanceBin
from fleet.batteries.views.common import above
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.web import clock, csv_out
from fleet.web.csv_out import Cell
from fleet.web.guards import guard
from fleet.web.paging import with_values

HEADER = (
    "Made at", "Type", "Part", "Way", "Forecasts", "Packs", "Known to have crossed", "CRPS, months",
    "CRPS of those crossed, months", "Inside 50 %", "Inside 80 %", "Inside 95 %", "Middle date off, months",
    "Size of that, months", "Crossed before 5 % date", "Crossed before replacement", "Life given away, months",
)  # fmt: skip


class TypeForm(forms.Form):
    """Which type's forecasts are looked at: one of those that were held against what came of them, or all together."""

    type = forms.ModelChoiceField(
        label="Type", queryset=DeviceType.objects.none(), empty_label="All together", required=False
    )

    def __init__(self, typed: QueryDict) -> None:
        super().__init__(typed)
        types = cast("forms.ModelChoiceField[DeviceType]", self.fields["type"])
        types.queryset = queries.types_with_backtest()


@guard(May.SEE_FLEET)
@require_safe
def how_good(request: HttpRequest) -> HttpResponse:
    """In words first, then said against came true, then way by way and part by part."""
    form = TypeForm(request.GET)
    shown = _shown(form)
    context: dict[str, Any] = {"above": above(), "form": form, "csv": with_values(request.GET), "shown": shown}
    if shown and not shown.why_not:
        plot = _plot(shown)
        context |= {"drawing": plots.draw(plot), "legend": plots.legend(plot), "words": list(_words(shown))}
    return render(request, "batteries/how_good.html", context)


@guard(May.SEE_FLEET)
@require_safe
def how_good_csv(request: HttpRequest) -> HttpResponseBase:
    """The same scores as a file for a spreadsheet."""
    shown = _shown(TypeForm(request.GET))
    rows = _rows(shown) if shown and not shown.why_not else iter(())
    return csv_out.answer(f"batteries-how-good-{clock.today().isoformat()}", HEADER, rows)


def _shown(form: TypeForm) -> BacktestView | None:
    chosen = form.cleaned_data.get("type") if form.is_valid() else None
    row = queries.latest_backtest(chosen)
    return queries.backtest_view(row) if row else None


def _plot(shown: BacktestView) -> plots.Plot:
    before, after = (tuple(map(_column, bins)) for bins in (shown.bins, shown.corrected_bins))
    return plots.Plot("how-good", before, () if after == before else after)


def _column(each: ChanceBin) -> plots.Column:
    return plots.Column(each.low, each.high, each.packs, each.said, each.share, each.least, each.most)


def _words(shown: BacktestView) -> Iterator[str]:
    """What the scores mean, one sentence each."""
    best, other = shown.best, shown.own_line
    if best.within_80 is not None:
        yield f"About {_in_100(best.within_80)} of 100 crossings came inside the band that should hold 80 of 100."
    yield f"About {_in_100(best.early)} of 100 packs fell under their level before the day by which 5 of 100 should."
    if best.crps_known is not None and other.crps_known is not None:
        yield (
            f"For the packs that have fallen under their level since, the forecast lay {best.crps_known:.1f} months "
            f"off on average; a straight line through the tests of each pack would have made that "
            f"{other.crps_known:.1f} months."
        )


def _in_100(share: float) -> str:
    return f"{100 * share:.0f}"


def _rows(shown: BacktestView) -> Iterator[tuple[Cell, ...]]:
    told = shown.made_at.isoformat(timespec="minutes"), str(shown.device_type or "All together")
    for part, line in queries.backtest_lines(shown):
        shares = (line.within_50, line.within_80, line.within_95)
        yield (
            *told, part, line.name, line.forecasts, line.packs, line.known, round(line.crps, 3),
            None if line.crps_known is None else round(line.crps_known, 3),
            *(None if share is None else round(share, 4) for share in shares),
            round(line.off, 3), round(line.off_size, 3),
            round(line.early, 4), round(line.failed, 4), round(line.wasted, 3),
        )  # fmt: skip
