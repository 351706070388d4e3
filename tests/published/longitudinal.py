"""The published longitudinal data sets that lie beside the project: subjects measured at several ages."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from fleet.core.battery.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class DataSet:
    """Where a set lies and what its columns are called, as in the stored answers of the reference program."""

    file: str
    subject: str
    age: str
    value: str


DATA_SETS = {
    "sleepstudy": DataSet("mixed/sleepstudy.csv", "Subject", "Days", "Reaction"),
    "orthodont": DataSet("mixed/orthodont.csv", "Subject", "agec", "distance"),
    "orthodont_female": DataSet("mixed/orthodont_female.csv", "Subject", "age", "distance"),
    "oxboys": DataSet("mixed/oxboys.csv", "Subject", "age", "height"),
    "gaaslaser": DataSet("degradation/gaaslaser.csv", "unit", "kh", "increase"),
}
NAMES = tuple(DATA_SETS)


def columns(folder: Path, name: str) -> tuple[IntArray, list[str], FloatArray, FloatArray]:
    """Give each reading's subject (row of the second, the subjects' names), age and value.

    Lasers: thousands of hours, without the reading at 0, which is 0 for all.
    """
    of = DATA_SETS[name]
    frame = pd.read_csv(folder / of.file)
    if name == "gaaslaser":
        frame = frame[frame.hours > 0].assign(kh=frame.hours / 1000, unit=frame.unit.astype(int))
    index, subjects = pd.factorize(frame[of.subject].astype(str))
    age, value = (frame[column].to_numpy(dtype=float) for column in (of.age, of.value))
    return index, list(subjects), age, value
