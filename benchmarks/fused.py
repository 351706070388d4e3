"""The filter and the crossing ages of `fleet.core.battery.bend` as one compiled kernel, a pack at a time.

Only to be measured against. It follows neither branches nor bounds. A pack's state under a draw is (u, b, g) and the
covariances (uu, ub, ug, bb, bg, gg); a draw's numbers are the columns of `table`.
"""

import ctypes
from collections.abc import Callable
from math import exp, inf, log, sqrt

import numba
import numpy as np
from numba.extending import get_cython_function_address

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend import passage
from fleet.core.battery.bend.filtering import WIDEST
from fleet.core.battery.bend.outlook import COARSE, FINE
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import CLEAR

# As in `passage` and `outlook`, whose arithmetic this is.
LEAST_VARIANCE, LEAST_CHANCE, LEAST_NODE = 1e-14, 1e-9, 1e-300
NODES, WEIGHTS = passage._NODES, passage._WEIGHTS  # noqa: SLF001 - the same arithmetic
LEAST_SHARE = passage._LEAST_SHARE  # noqa: SLF001 - the same arithmetic
SQRT2, LOG_2PI = sqrt(2.0), log(2 * np.pi)
Gaps = tuple[float, float, float, float, float, float]


def special(name: str) -> Callable[[float], float]:
    """Return a function of scipy.special that compiled code may call."""
    address = get_cython_function_address("scipy.special.cython_special", name)
    return ctypes.CFUNCTYPE(ctypes.c_double, ctypes.c_double)(address)


ndtr, ndtri, erfcx = special("__pyx_fuse_1ndtr"), special("ndtri"), special("__pyx_fuse_1erfcx")
compiled = numba.njit(error_model="numpy")


def table(numbers: FadeNumbers) -> FloatArray:
    """Return the numbers (R, 11) in the order that `learn` takes them."""
    spread = numbers.spread
    columns = [*numbers.mean, spread[0, 0], spread[0, 1], spread[1, 1], numbers.noise[0], numbers.stray]
    columns += [numbers.bend, numbers.power, numbers.bend_spread, numbers.gross]
    return np.ascontiguousarray(np.stack(columns, axis=1))


@compiled
def touching(gap: float, variance: float, sd: float, rate: float) -> float:
    """See `passage._touching`."""
    root = max((rate * variance - gap) / (sd * SQRT2), -25.0)
    return 0.5 * exp(-0.5 * gap * gap / variance) * erfcx(root)


@compiled
def averaged(gaps: Gaps) -> float:
    """See `passage._near`."""
    gap_now, variance_now, gap, variance, shared, stray = gaps
    sd = sqrt(variance_now)
    above = ndtr(gap_now / sd)
    chance, slope = 1 - above, shared / variance_now
    rest = max(variance - slope * shared, stray)
    rest_sd = sqrt(rest)
    for node in range(len(NODES)):
        now = gap_now - sd * ndtri(max(above * NODES[node], LEAST_NODE))
        then = gap + slope * (now - gap_now)
        rate = 2 * max(now, 0.0) / stray
        chance += WEIGHTS[node] * above * (ndtr(-then / rest_sd) + touching(then, rest, rest_sd, rate))
    return min(chance, 1.0)


@compiled
def passed(s: FloatArray, level: float, step: float, bent: float, stray_a_year: float) -> float:
    """See `Course.chance_passed`, after `step` years that bend by `bent`."""
    mean = s[0] - step * s[1] - bent * s[2]
    shared = s[3] - step * s[4] - bent * s[5]
    own = step * (step * s[6] + 2 * bent * s[7]) + bent * bent * s[8]
    variance = max(2 * shared - s[3] + own + stray_a_year * abs(step), LEAST_VARIANCE)
    gap, gap_now, sd = mean - level, s[0] - level, sqrt(variance)
    variance_now = max(s[3], LEAST_VARIANCE)
    sd_now = sqrt(variance_now)
    if step <= 0:
        chance = ndtr(-gap / sd)
        return min(chance, ndtr(-gap_now / sd_now)) if step < 0 else chance
    stray = max(stray_a_year * step, LEAST_VARIANCE)
    if abs(gap_now) < CLEAR * sd_now:
        return averaged((gap_now, variance_now, gap, variance, shared, stray))
    rate = 2 * max(gap_now - shared * gap / variance, LEAST_SHARE * abs(gap_now)) / stray
    chance = max(ndtr(-gap / sd) + touching(gap, variance, sd, rate), ndtr(-gap_now / sd_now))
    return min(chance, 1.0)


@compiled
def learn(s: FloatArray, tests: FloatArray, count: int, numbers: FloatArray) -> tuple[float, float]:
    """Run a pack's filter under one draw, leaving its state in `s`; return the log likelihood and the doubt."""
    a, b, saa, sab, sbb, noise, stray, bend, power, sgg, gross = numbers
    s[:] = (a, b, 1.0, saa, sab, 0.0, sbb, 0.0, sgg)
    last, bent, likelihood, doubt = 0.0, 0.0, 0.0, 0.0
    log_gross, log_good = log(gross / WIDEST), log(1 - gross)
    for event in range(count):
        age, value = tests[event]
        now_bent = bend * age**power
        step, more = age - last, now_bent - bent
        s[0] -= step * s[1] + more * s[2]
        ub, ug = s[4] - step * s[6] - more * s[7], s[5] - step * s[7] - more * s[8]
        s[3] += stray * step - step * (s[4] + ub) - more * (s[5] + ug)
        s[4], s[5], last, bent = ub, ug, age, now_bent
        variance, miss = max(s[3], 0.0) + noise, value - s[0]
        good = log_good - 0.5 * (miss * miss / variance + log(variance) + LOG_2PI)
        doubt = max(doubt, exp(min(log_gross - good, 0.0)))
        likelihood += max(good, log_gross) + log(1 + exp(-abs(good - log_gross)))
        for each in range(3):
            s[each] += s[3 + each] / variance * miss
        s[6] -= s[4] * s[4] / variance
        s[7] -= s[4] * s[5] / variance
        s[8] -= s[5] * s[5] / variance
        rest = 1 - s[3] / variance
        s[3], s[4], s[5] = s[3] * rest, s[4] * rest, s[5] * rest
    return likelihood, doubt


@compiled
def risen(ages: FloatArray, level: float, last: float, states: FloatArray, numbers: FloatArray) -> FloatArray:
    """Return the law over all draws at `ages`, never falling."""
    chance, highest = np.empty(len(ages)), 0.0
    for at in range(len(ages)):
        total, step = 0.0, ages[at] - last
        for draw in range(len(states)):
            stray, bend, power = numbers[draw, 6:9]
            bent = bend * (ages[at] ** power - last**power)
            total += passed(states[draw], level, step, bent, stray)
        highest = max(highest, total / len(states))
        chance[at] = highest
    return chance


@compiled
def inverse(ages: FloatArray, chance: FloatArray, wanted: float) -> float:
    """See `outlook._inverse`."""
    at = 0
    while at < len(ages) and chance[at] < wanted:
        at += 1
    if at == 0:
        return ages[0]
    if at == len(ages):
        return inf
    under = ndtri(min(max(chance[at - 1], LEAST_CHANCE), 1 - LEAST_CHANCE))
    over = ndtri(min(max(chance[at], LEAST_CHANCE), 1 - LEAST_CHANCE))
    share = min(max((ndtri(wanted) - under) / max(over - under, LEAST_CHANCE), 0.0), 1.0)
    return ages[at - 1] + share * (ages[at] - ages[at - 1])


@compiled
def crossings(
    tests: FloatArray, count: IntArray, years: tuple[float, float], numbers: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the crossing ages (Q, P), log likelihoods (R, P) and doubts (P,) of all packs.

    `tests` (P, K, 2): ages and fractions, `count` (P,) of them. `years`: horizon after the last test, and the level.
    """
    packs, draws, (horizon, level) = len(count), len(numbers), years
    found, likelihood, doubt = np.empty((len(wanted), packs)), np.empty((draws, packs)), np.empty(packs)
    states = np.empty((draws, 9))
    for pack in range(packs):
        for draw in range(draws - 1, -1, -1):
            likelihood[draw, pack], doubt[pack] = learn(states[draw], tests[pack], count[pack], numbers[draw])
        last = tests[pack, count[pack] - 1, 0] if count[pack] else 0.0
        coarse = np.linspace(0.0, last + horizon, COARSE)
        chance = risen(coarse, level, last, states, numbers)
        before, upto = (chance < wanted[0]).sum(), (chance < wanted[-1]).sum()
        low, high = coarse[max(before - 1, 0)], coarse[max(min(upto, COARSE - 1), 1)]
        fine = np.linspace(low, high, FINE)
        chance = risen(fine, level, last, states, numbers)
        for each in range(len(wanted)):
            found[each, pack] = inverse(fine, chance, wanted[each])
    return found, likelihood, doubt
