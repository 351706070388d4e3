"""How good the forecasts are, on invented fleets with known truth and on real cells.

    make bench ARGS=forecast             a first look, some minutes
    python -m benchmarks.forecast SEEDS [BEGINNING]

Prints one row per trial and way: CRPS and how late the middle is (months for invented fleets, lives for real cells),
coverage of the 50, 80 and 95 % intervals, share of truths before the 95 % interval and before the 5 % age; then the
targets. BEGINNING: only trials whose name begins so. Figures that were measured: README.md.
"""

import sys

from benchmarks.forecast.scores import Score, scaled
from benchmarks.forecast.targets import TARGETS
from benchmarks.forecast.trials import trials

FIRST_LOOK = 2
HEAD = f"{'fleet':24}{'way':16}{'CRPS':>8}{'50':>7}{'80':>7}{'95':>7}{'<95':>7}{'<5':>7}{'late':>8}{'packs':>8}"


def row(fleet: str, way: str, found: Score) -> str:
    """Return one printed row."""
    shares = (found.within_50, found.within_80, found.within_95, found.before_95, found.before_5)
    numbers = "".join(f"{share:7.3f}" for share in shares)
    return f"{fleet:24}{way:16}{found.crps:8.3f}{numbers}{found.late:8.3f}{found.packs:8d}"


def main(seeds: int, beginning: str) -> None:
    """Print all rows, the real cells first, and the targets."""
    print(HEAD, flush=True)
    found = {}
    for trial in trials():
        if not trial.name.startswith(beginning):
            continue
        for way, in_years in trial.scores(seeds):
            found[trial.name, way] = scaled(in_years, trial.unit)
            print(row(trial.name, way, found[trial.name, way]), flush=True)
    print("\n" + "\n".join(target.line(found) for target in TARGETS))


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else FIRST_LOOK, " ".join(sys.argv[2:]))
