import argparse
from datetime import date, datetime
from typing import Any, Final

from django.core.management import BaseCommand, CommandError, call_command
from tqdm import tqdm

from fleet.core.errors import BenchwardError
from fleet.jobs import timetable
from fleet.management.demo.awkward import worth_a_look
from fleet.management.demo.build import FEWEST, build
from fleet.management.demo.diary import local
from fleet.management.demo.large import build_large
from fleet.management.demo.people import CAUTION, PASSWORD, sign_ins
from fleet.management.demo.world import World
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock, phrases

#: Above this the fleet is made in bulk, without orders: three years of work on each driver would take hours.
MOST_WITH_HISTORY: Final = 1500
LARGEST: Final = 1_000_000
#: The morning's e-mails are no part of a demonstration's past.
_NOT_NOW: Final = "morning_digest"


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it as YYYY-MM-DD") from None


def _devices(text: str) -> int:
    if not text.isdecimal() or not FEWEST <= int(text) <= LARGEST:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of drivers here; give {FEWEST} to {LARGEST}")
    return int(text)


class Command(BaseCommand):
    help = (
        "Build the invented demonstration hospital, with three years of history, in an empty database. "
        f"Above {MOST_WITH_HISTORY} drivers it is built in bulk, without orders, for measuring."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--devices", type=_devices, default=600, metavar="N", help="how many drivers (600)")
        parser.add_argument("--seed", type=int, default=1, help="another number makes another history (1)")
        parser.add_argument("--until", type=_day, metavar="YYYY-MM-DD", help="the last day of the history (today)")
        parser.add_argument("--sign-ins", action="store_true", help="only print the sign-ins of the demonstration")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["sign_ins"]:
            self._print_sign_ins()
            return
        if Device.objects.exists() or Person.objects.exists():
            raise CommandError(
                "This database already holds drivers or people; the demo is built in an empty one only. "
                "To start the demo over: make reset, then make demo."
            )
        end = _end(options["until"])
        self.stdout.write(f"Building the demo hospital: {options['devices']} drivers ...")
        world = self._build(options["devices"], options["seed"], end)
        self._run_the_night(end)
        self._tell(world)

    def _build(self, devices: int, seed: int, end: datetime) -> World:
        """Build with a progress bar on standard error, where that is a terminal."""
        in_bulk = devices > MOST_WITH_HISTORY
        make = build_large if in_bulk else build
        try:
            with tqdm(total=1.0, bar_format="{l_bar}{bar}| {elapsed}", leave=False, disable=None) as bar:
                return make(devices, seed=seed, end=end, progress=lambda done: bar.update(done - bar.n))
        except KeyboardInterrupt:
            kept = "Part of the fleet is there; to begin again: make reset." if in_bulk else "Nothing of it was kept."
            raise CommandError(f"Stopped before the demo hospital was ready. {kept}") from None
        except BenchwardError as error:
            raise CommandError(f"The demo could not be built: {error}") from error

    def _run_the_night(self, end: datetime) -> None:
        """Let the pages show what the last night would have left: late dues, coverage, forecasts."""
        self.stdout.write("Running last night's jobs ...")
        with clock.at(end):
            for entry in timetable.NIGHTLY:
                if entry.kind != _NOT_NOW:
                    call_command("nightly", only=entry.kind, stdout=self.stdout, stderr=self.stderr)

    def _tell(self, world: World) -> None:
        for subject, drivers in worth_a_look(world):
            self.stdout.write(f"\nWorth a look, {subject}:")
            for driver in drivers:
                self.stdout.write(f"  {driver.asset:8}  {driver.why}")
        self._print_sign_ins()

    def _print_sign_ins(self) -> None:
        known = list(sign_ins())
        if not known:
            self.stdout.write("This database holds nobody of the demonstration, so there is nothing to sign in with.")
            return
        self.stdout.write(f"\nSign in with one of these names and the password {PASSWORD}:")
        for username, who in known:
            self.stdout.write(f"  {username:14} {who}")
        self.stdout.write(CAUTION)


def _end(until: date | None) -> datetime:
    now = clock.now()
    if until is None or until == clock.today():
        return now
    if until > clock.today():
        raise CommandError(f"{phrases.day(until)} lies ahead; choose today or a day that is over.")
    return local(until, 17)
