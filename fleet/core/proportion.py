"""A share seen in a sample, with the interval in which the share behind it lies."""

from dataclasses import dataclass
from typing import Final

from scipy.stats import binomtest

from fleet.core.errors import BadValueError

LEVEL: Final = 0.95


@dataclass(frozen=True, slots=True)
class Proportion:
    """`part` of `whole`, as a fraction, between `low` and `high` (fractions, 0 to 1) at 95 % confidence."""

    part: int
    whole: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """The share seen, 0 to 1."""
        return self.part / self.whole


def proportion(part: int, whole: int) -> Proportion | None:
    """The share with its score interval (E. B. Wilson 1927), which keeps its level for few and rare cases too.

    None where there is no whole. Raises BadValueError unless 0 <= part <= whole.
    """
    if not 0 <= part <= whole:
        raise BadValueError(f"{part} of {whole} is not a share; the part lies between 0 and the whole.", field="part")
    if not whole:
        return None
    low, high = binomtest(part, whole).proportion_ci(confidence_level=LEVEL, method="wilson")
    return Proportion(part, whole, float(low), float(high))
