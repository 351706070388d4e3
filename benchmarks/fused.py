"""The filter and the crossing ages of `fleet.core.battery.bend` as one compiled kernel, a pack at a time.

Only to be measured against. It follows neither branches nor bounds, and each pack stops looking for its ages by itself,
where the arrays go on for some thousands together. A pack's state under a draw is (u, b, g), the covariances (uu, ub,
ug, bb, bg, gg), and what does not change with the age asked: the chance of being below at the last test, of being
above, 1 where the gap is not clear, and the gaps averaged there. A draw's numbers are the columns of `table`.
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
from fleet.core.battery.bend.outlook import BEYOND, CLOSE, COARSE, LEVELS, MOST_TIMES
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import CLEAR

# As in `passage` and `outlook`, whose arithmetic this is.
LEAST_VARIANCE, LEAST_CHANCE, LEAST_NODE, LEAST_AGE, LEAST_SHARE_OF_AGE = 1e-14, 1e-9, 1e-300, 1e-30, 1e-3
NODES, WEIGHTS = passage._NODES, passage._WEIGHTS  # noqa: SLF001 - the same arithmetic
LEAST_SHARE = passage._LEAST_SHARE  # noqa: SLF001 - the same arithmetic
SQRT2, LOG_2PI = sqrt(2.0), log(2 * np.pi)
OWN, BELOW, ABOVE, NEAR, NOW = 9, 9, 10, 11, 12
WIDTH = NOW + len(NODES)


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
def bend_until(bend: float, power: float, age: float) -> float:
    """See `Course._bend_until`."""
    return bend * exp(power * log(max(age, LEAST_AGE)))


@compiled
def settle(s: FloatArray, level: float) -> None:
    """Fill in what does not change with the age asked, see `Passage`."""
    gap, sd = s[0] - level, sqrt(max(s[3], LEAST_VARIANCE))
    s[BELOW], s[ABOVE], s[NEAR] = ndtr(-gap / sd), 0.0, 0.0
    if abs(gap) < CLEAR * sd:
        s[NEAR], s[ABOVE] = 1.0, ndtr(gap / sd)
        for node in range(len(NODES)):
            s[NOW + node] = max(gap - sd * ndtri(max(s[ABOVE] * NODES[node], LEAST_NODE)), 0.0)


@compiled
def averaged(s: FloatArray, gap_now: float, then: tuple[float, float, float], stray: float) -> float:
    """See `Passage._averaged`."""
    gap, variance, shared = then
    variance_now = max(s[3], LEAST_VARIANCE)
    slope = shared / variance_now
    rest = max(variance - slope * shared, stray)
    rest_sd, chance = sqrt(rest), 0.0
    for node in range(len(NODES)):
        now = s[NOW + node]
        later = gap + slope * (now - gap_now)
        chance += WEIGHTS[node] * (ndtr(-later / rest_sd) + touching(later, rest, rest_sd, 2 * now / stray))
    return 1 - s[ABOVE] + s[ABOVE] * chance


@compiled
def passed(s: FloatArray, level: float, step: float, bent: float, stray_a_year: float) -> float:
    """See `Passage`, after `step` years that bend by `bent`."""
    mean = s[0] - step * s[1] - bent * s[2]
    shared = s[3] - step * s[4] - bent * s[5]
    later_b, later_g = s[4] - step * s[6] - bent * s[7], s[5] - step * s[7] - bent * s[8]
    variance = max(shared - step * later_b - bent * later_g + stray_a_year * abs(step), LEAST_VARIANCE)
    gap, gap_now, sd = mean - level, s[0] - level, sqrt(variance)
    if step <= 0:
        chance = ndtr(-gap / sd)
        return min(chance, s[BELOW]) if step < 0 else chance
    stray = max(stray_a_year * step, LEAST_VARIANCE)
    if s[NEAR] > 0:
        return min(averaged(s, gap_now, (gap, variance, shared), stray), 1.0)
    held = max(gap_now - shared * gap / variance, LEAST_SHARE * abs(gap_now))
    return min(max(ndtr(-gap / sd) + touching(gap, variance, sd, 2 * held / stray), s[BELOW]), 1.0)


@compiled
def learn(s: FloatArray, tests: FloatArray, count: int, numbers: FloatArray) -> tuple[float, float]:
    """Run a pack's filter under one draw, leaving its state in `s`; return the log likelihood and the doubt."""
    a, b, saa, sab, sbb, noise, stray, bend, power, sgg, gross = numbers
    s[:OWN] = (a, b, 1.0, saa, sab, 0.0, sbb, 0.0, sgg)
    last, bent, likelihood, doubt = 0.0, 0.0, 0.0, 0.0
    log_gross, log_good = log(gross / WIDEST), log(1 - gross)
    for event in range(count):
        age, value = tests[event]
        now_bent = bend_until(bend, power, age)
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
def law(age: float, level: float, last: float, states: FloatArray, numbers: FloatArray) -> float:
    """Return the chance over all draws of having crossed by `age`."""
    total = 0.0
    for draw in range(len(states)):
        stray, bend, power = numbers[draw, 6:9]
        bent = bend_until(bend, power, age) - bend_until(bend, power, last)
        total += passed(states[draw], level, age - last, bent, stray)
    return total / len(states)


@compiled
def collapsed(states: FloatArray, numbers: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """Return one state and its numbers, each as one row, with the mean and covariance of all. See `_Part.collapsed`."""
    one, draws, at = np.zeros((1, WIDTH)), len(states), 3
    mean_numbers = np.zeros((1, numbers.shape[1]))
    for draw in range(draws):
        one[0, :OWN] += states[draw, :OWN] / draws
        mean_numbers[0] += numbers[draw] / draws
    for i in range(3):
        for j in range(i, 3):
            for draw in range(draws):
                one[0, at] += (states[draw, i] - one[0, i]) * (states[draw, j] - one[0, j]) / draws
            at += 1
    settle(one[0], level)
    return one, mean_numbers


@compiled
def inverse(ages: FloatArray, chance: FloatArray, wanted: float) -> float:
    """See `outlook._inverse`; `chance` need not rise: its running maximum counts."""
    at, highest, before = 0, chance[0], chance[0]
    while at < len(ages):
        before, highest = highest, max(highest, chance[at])
        if highest >= wanted:
            break
        at += 1
    if at == 0:
        return ages[0]
    if at == len(ages):
        return inf
    under = ndtri(min(max(before, LEAST_CHANCE), 1 - LEAST_CHANCE))
    over = ndtri(min(max(highest, LEAST_CHANCE), 1 - LEAST_CHANCE))
    share = min(max((ndtri(wanted) - under) / max(over - under, LEAST_CHANCE), 0.0), 1.0)
    least = LEAST_SHARE_OF_AGE * ages[-1]
    start, end = log(max(ages[at - 1], least)), log(max(ages[at], least))
    return exp(start + share * (end - start))


@compiled
def first_ages(states: FloatArray, numbers: FloatArray, years: FloatArray, wide: FloatArray) -> FloatArray:
    """Return 0, the ages over the rise of the collapsed law, and the horizon. `years`: level, last age, horizon."""
    level, last, horizon = years
    one, its = collapsed(states, numbers, level)
    grid = np.linspace(0.0, horizon, COARSE)
    chance = np.array([law(age, level, last, one, its) for age in grid])
    ages = np.empty(len(wide) + 2)
    ages[0], ages[-1] = 0.0, horizon
    for each in range(len(wide)):
        ages[1 + each] = min(inverse(grid, chance, wide[each]), horizon)
    ages[-2] = min(ages[-2], 2 * ages[-3] - ages[2])
    return ages


@compiled
def insert(ages: FloatArray, chance: FloatArray, size: int, new: tuple[float, float]) -> None:
    """Put an age and its chance among the first `size` ages, in order."""
    at = size
    while at > 0 and ages[at - 1] > new[0]:
        ages[at], chance[at] = ages[at - 1], chance[at - 1]
        at -= 1
    ages[at], chance[at] = new


@compiled
def looked_up(
    states: FloatArray, numbers: FloatArray, years: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return ages and chances, close together where the law rises. See `FadeOutlook.crossing_ages`."""
    level, last, horizon = years
    asked = [ndtr(each) for each in spread]
    wide = [ndtr(spread[0] - BEYOND), *asked, ndtr(spread[-1] + BEYOND)]
    first = first_ages(states, numbers, years, np.array(wide))
    size = len(first)
    ages, chance = np.empty(size + MOST_TIMES * len(asked)), np.zeros(size + MOST_TIMES * len(asked))
    ages[:size] = first
    for at in range(1, size):
        chance[at] = law(ages[at], level, last, states, numbers)
    for _ in range(MOST_TIMES):
        found = [min(inverse(ages[:size], chance[:size], each), horizon) for each in asked]
        close = True
        for each in range(len(asked)):
            reached = law(found[each], level, last, states, numbers)
            close = close and (abs(reached - asked[each]) <= CLOSE or found[each] >= horizon)
            insert(ages, chance, size, (found[each], reached))
            size += 1
        if close:
            break
    return ages[:size], chance[:size]


@compiled
def crossings(
    tests: FloatArray, count: IntArray, years: tuple[float, float], numbers: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the crossing ages (Q, P), log likelihoods (R, P) and doubts (P,) of all packs.

    `tests` (P, K, 2): ages and fractions, `count` (P,) of them. `years`: horizon after the last test, and the level.
    """
    packs, draws, (horizon, level) = len(count), len(numbers), years
    found, likelihood, doubt = np.empty((len(wanted), packs)), np.empty((draws, packs)), np.empty(packs)
    states = np.empty((draws, WIDTH))
    levels = min(max(len(wanted), LEVELS[0]), LEVELS[1])
    spread = np.linspace(ndtri(wanted[0]), ndtri(wanted[-1]), levels)
    for pack in range(packs):
        for draw in range(draws - 1, -1, -1):
            likelihood[draw, pack], doubt[pack] = learn(states[draw], tests[pack], count[pack], numbers[draw])
            settle(states[draw], level)
        last = tests[pack, count[pack] - 1, 0] if count[pack] else 0.0
        ages, chance = looked_up(states, numbers, np.array([level, last, last + horizon]), spread)
        for each in range(len(wanted)):
            found[each, pack] = inverse(ages, chance, wanted[each])
    return found, likelihood, doubt
