"""How much must be known of a device type before its forecast rests on its own tests."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class MinimumInformation:
    """What a type's full tests must amount to. The numbers are this project's own choice, each with its reason."""

    packs: int = 8
    """With a test. A variance between 8 packs is known to about 50 % (sqrt(2/7)); with fewer it is a guess."""
    repeated_packs: int = 3
    """With two tests or more: only they tell test error from differences between packs."""
    age_spread_years: float = 1.0
    """Between the youngest and the oldest test: a fade of some 0.05 a year hides in 0.02 of test error below that."""

    def lacking(self, pack: IntArray, age_years: FloatArray) -> str:
        """Return in plain words what the full tests (N,) fall short of; "" where they reach each minimum."""
        tests = np.bincount(pack)
        with_test, repeated = int(np.count_nonzero(tests)), int(np.count_nonzero(tests > 1))
        spread = float(np.ptp(age_years)) if age_years.size else 0.0
        lacking = []
        if with_test < self.packs:
            lacking.append(f"{with_test} packs with a full runtime test, {self.packs} needed")
        if repeated < self.repeated_packs:
            lacking.append(f"{repeated} packs tested twice or more, {self.repeated_packs} needed")
        if spread < self.age_spread_years:
            lacking.append(f"tests {spread:.1f} years of pack age apart, {self.age_spread_years:.1f} needed")
        return "; ".join(lacking)
