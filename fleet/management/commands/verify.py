import argparse
from typing import Any

from django.core.management import BaseCommand, CommandError
from tqdm import tqdm

from fleet.audit.actors import command_actor
from fleet.audit.queries import Flaw, is_chained
from fleet.reports.actions import verify
from fleet.reports.queries import Verified


class Command(BaseCommand):
    help = (
        "Hold the record against its seals, signatures and ledgers; tell what was altered, is missing or was added, "
        "and what still holds. Ends with 1 where anything does not hold."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--head", metavar="DIGEST", help="the digest of a seal as it was noted elsewhere: is it still in the chain?"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        with tqdm(desc="Verifying", unit=" seals", leave=False, disable=None) as bar:

            def show(done: int, total: int | None) -> None:
                bar.total = total
                bar.update(done - bar.n)

            found = verify(by=command_actor("verify"), progress=show)
        self._tell(found)
        lost = self._is_lost(options["head"])
        if found.flaws or lost:
            raise CommandError(f"The record does not hold: {len(found.flaws) + lost} found, listed above.")

    def _tell(self, found: Verified) -> None:
        trail = found.trail
        self._list("does not hold", found.flaws)
        self._list("changed openly since it was signed", found.notes)
        self.stdout.write(
            f"{trail.entries} entries of the trail in {trail.seals} seals ({trail.late} taken up late), "
            f"{found.signatures} signatures under orders, every ledger of stock."
        )
        if trail.unsealed:
            self.stdout.write(f"{trail.unsealed} entries are not sealed yet: `manage.py nightly --only seal_trail`.")
        if trail.flaws and trail.holds_to:
            self.stdout.write(
                f"The trail holds up to seal {trail.holds_to}; what comes after the first flaw is in doubt."
            )
        elif trail.flaws:
            self.stdout.write("The first seal does not hold: the whole trail is in doubt.")
        if trail.head:
            self.stdout.write(
                f"Last seal {trail.head}\nNote it elsewhere: only that shows a record written wholly anew."
            )

    def _list(self, what: str, flaws: tuple[Flaw, ...]) -> None:
        for flaw in flaws:
            self.stdout.write(f"{what}: {flaw.where}: {flaw.what}")

    def _is_lost(self, noted: str | None) -> bool:
        if not noted:
            return False
        number = is_chained(noted)
        if number is None:
            self.stdout.write("does not hold: no seal has the digest you noted; the chain was made anew or cut off.")
        else:
            self.stdout.write(f"The digest you noted is that of seal {number}.")
        return number is None
