"""The bivariate normal distribution function, in closed form by Owen's T function.

    P(X <= h, Y <= k) = (Phi(h) + Phi(k)) / 2 - T(h, (k/h - r) / q) - T(k, (h/k - r) / q) - c,
    q = sqrt(1 - r^2), c = 1/2 if h and k differ in sign and 0 if not,

X and Y standard normal with correlation r.

Source: D. B. Owen, "Tables for computing bivariate normal probabilities", Annals of Mathematical Statistics 27 (1956)
1075-1090, equation 2.1 (form from memory; checked in the tests against SciPy's multivariate normal).
"""

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray

# Stands for zero in the ratio of the two limits, which has a limit where the quotient has none.
_NEXT_TO_ZERO = 1e-300
# Correlations nearer to one than this are lost in rounding; the answer then errs by less than 1e-7.
_LARGEST_CORRELATION = 1 - 1e-15


def bivariate_normal_cdf(h: FloatArray, k: FloatArray, correlation: FloatArray) -> FloatArray:
    """Return P(X <= h, Y <= k). All arguments broadcast; dimensionless; finite limits, correlation from -1 to 1."""
    first, second = (np.where(limit == 0, _NEXT_TO_ZERO, limit) for limit in (h, k))
    r = np.clip(correlation, -_LARGEST_CORRELATION, _LARGEST_CORRELATION)
    q = np.sqrt((1 - r) * (1 + r))
    with np.errstate(over="ignore"):
        tails = special.owens_t(first, (second / first - r) / q) + special.owens_t(second, (first / second - r) / q)
    apart = np.where((first < 0) != (second < 0), 0.5, 0.0)
    chance = (special.ndtr(first) + special.ndtr(second)) / 2 - tails - apart
    return np.asarray(np.clip(chance, 0.0, 1.0))
