import argparse
from typing import Any

from django.core.management import BaseCommand, CommandError
from tqdm import tqdm

from fleet.batteries import actions, queries
from fleet.batteries.models import Backtest
from fleet.batteries.queries import WAY_NAMES, WayLine
from fleet.registry.models import DeviceType
from fleet.web import clock, phrases

HEAD = ("", "misses", "of crossed", "in 50 %", "in 80 %", "in 95 %", "middle off", "before 5 %", "failed", "given away")
KEY = """\
misses       months by which forecast and crossing lay apart on average, as far as is known (CRPS); of crossed packs
in 50 %      share of crossings inside the interval that should hold so many
middle off   months by which the middle date was certainly too late (minus: too early)
before 5 %   share that crossed before the date by which 5 % should
failed, given away   had each pack gone on the day its chance reached 10 %: share that crossed before, months of life
             lost a pack (at least)"""


class Command(BaseCommand):
    help = (
        "Roll the clock through the record: forecast each battery at past dates with only what was known then, hold it "
        "against what came of it, and keep the scores for the page “How good have our forecasts been?”."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--type", metavar="WORDS", help="only device types in whose name these words stand")
        parser.add_argument(
            "--months", type=_months, default=actions.BACKTEST_MONTHS, help="months between two past dates (6)"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        types = self._types(options["type"])
        with tqdm(desc="Forecasting from past dates", unit="", leave=False, disable=None) as bar:

            def show(done: int, total: int | None) -> None:
                bar.total = total
                bar.update(done - bar.n)

            rows = [
                row
                for each in types
                for row in actions.run_backtests(
                    at=clock.now(), device_type=each, months=options["months"], progress=show
                )
            ]
        if not rows:
            self.stdout.write("No pack was ever fitted, so there is nothing to hold a forecast against.")
        for row in rows:
            self._tell(row)
        if any(row.result for row in rows):
            self.stdout.write(f"\n{KEY}")

    def _types(self, words: str | None) -> list[DeviceType | None]:
        """The types that are asked for; None stands for all of them and all together."""
        if not words:
            return [None]
        found = [each for each in DeviceType.objects.order_by("pk") if words.lower() in str(each).lower()]
        if not found:
            names = ", ".join(str(each) for each in DeviceType.objects.order_by("pk")) or "none"
            raise CommandError(f"No device type has {words!r} in its name. Known types: {names}.")
        return [*found]

    def _tell(self, row: Backtest) -> None:
        self.stdout.write(f"\n{row.device_type or 'All types'}")
        if row.why_not:
            self.stdout.write(f"  {row.why_not}")
            return
        shown = queries.backtest_view(row)
        first, last = (phrases.day(on) for on in (shown.first, shown.last) if on)
        self.stdout.write(
            f"  {shown.forecasts} forecasts of {shown.packs} packs from {shown.dates} dates, {first} to {last}; "
            f"{shown.known} of the packs are known to have crossed."
        )
        self.stdout.write("  " + f"{HEAD[0]:30}" + "".join(f"{name:>12}" for name in HEAD[1:]))
        for line in shown.ways:
            self.stdout.write("  " + f"{WAY_NAMES[line.key]:30}" + "".join(f"{cell:>12}" for cell in _cells(line)))
        correction = f"Beta({row.correction_a:.2f}, {row.correction_b:.2f}) from {row.correction_ranks} known crossings"
        self.stdout.write(f"  Correction from now on: {correction if row.correction_ranks else 'none'}")


def _months(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 24:  # noqa: PLR2004 - two years
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of months; give 1 to 24")
    return int(text)


def _cells(line: WayLine) -> list[str]:
    shares = [line.within_50, line.within_80, line.within_95]
    held = ["-" if share is None else f"{share:.0%}" for share in shares]
    of_crossed = "-" if line.crps_known is None else f"{line.crps_known:.1f}"
    policy = [f"{line.off:+.2f}", f"{line.early:.0%}", f"{line.failed:.0%}", f"{line.wasted:.1f}"]
    return [f"{line.crps:.2f}", of_crossed, *held, *policy]
