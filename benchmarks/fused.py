"""The filter and the crossing ages of `fleet.core.battery.bend` as one compiled kernel, a pack at a time.

Only to be measured against. It follows neither branches nor bounds. A pack's state under a draw is (u, b, g), the
covariances (uu, ub, ug, bb, bg, gg), and what does not change with the age asked: the chance of being below at the last
test, of being above, 1 where the gap is not clear, and the gaps averaged there. A draw's numbers are the columns of
`table`.
"""

import ctypes
from collections.abc import Callable
from math import exp, inf, log, sqrt

import numba
import numpy as np
from numba.extending import get_cython_function_address

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend import passage, rough
from fleet.core.battery.bend.filtering import WIDEST
from fleet.core.battery.bend.outlook import CLOSE, LEAST_CHANCE, MOST_TIMES
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import CLEAR

# As in `passage` and `outlook`, whose arithmetic this is.
LEAST_VARIANCE, LEAST_NODE, LEAST_AGE = 1e-14, 1e-300, 1e-30
AGES, DENSER, LATEST = rough._AGES, rough._DENSER, rough._LATEST  # noqa: SLF001 - the same arithmetic
LEAST_PART, LEAST_RISE, BEYOND = rough._LEAST_AGE, rough._LEAST_RISE, rough._BEYOND  # noqa: SLF001 - the same arithmetic
LEAST_BEND = rough._LEAST_BEND  # noqa: SLF001 - the same arithmetic
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
def moments(s: FloatArray, step: float, bent: float, stray_a_year: float) -> tuple[float, float, float]:
    """See `Course.moments`, after `step` years that bend by `bent`."""
    mean = s[0] - step * s[1] - bent * s[2]
    shared = s[3] - step * s[4] - bent * s[5]
    later_b, later_g = s[4] - step * s[6] - bent * s[7], s[5] - step * s[7] - bent * s[8]
    variance = max(shared - step * later_b - bent * later_g + stray_a_year * abs(step), LEAST_VARIANCE)
    return mean, variance, shared


@compiled
def passed(s: FloatArray, level: float, step: float, bent: float, stray_a_year: float) -> float:
    """See `Passage`, after `step` years that bend by `bent`."""
    mean, variance, shared = moments(s, step, bent, stray_a_year)
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
def reaching(ages: FloatArray, reached: FloatArray, wanted: float) -> float:
    """See `rough.ages_reaching`."""
    over, low, high = 1, reached[0], max(reached[0], reached[1])
    while over < len(ages) - 1 and high < wanted:
        over += 1
        low, high = high, max(high, reached[over])
    least = LEAST_PART * ages[-1]
    start, end = log(max(ages[over - 1], least)), log(max(ages[over], least))
    part = (wanted - low) / max(high - low, LEAST_RISE)
    return exp(start + min(max(part, -BEYOND), 1 + BEYOND) * (end - start))


@compiled
def as_one(states: FloatArray, parts: FloatArray) -> FloatArray:
    """Return the mean and covariance of all states, their bends times `parts` (R,). See `rough._as_one`."""
    one, draws, at = np.zeros(OWN), len(states), 3
    scale = np.ones((draws, 3))
    scale[:, 2] = parts
    for draw in range(draws):
        one[:3] += scale[draw] * states[draw, :3] / draws
    for i in range(3):
        for j in range(i, 3):
            for draw in range(draws):
                own, factor = states[draw], scale[draw]
                apart = (factor[i] * own[i] - one[i]) * (factor[j] * own[j] - one[j])
                one[at] += (factor[i] * factor[j] * own[at] + apart) / draws
            at += 1
    return one


@compiled
def first_ages(states: FloatArray, numbers: FloatArray, years: FloatArray, asked: FloatArray) -> FloatArray:
    """Return the ages by which the rough law reaches each probit. `years`: level, last age, horizon.

    See `rough.rough_ages`.
    """
    level, last, horizon = years
    draws, stray = len(states), numbers[:, 6].mean()
    bend, power = exp(np.log(numbers[:, 7]).mean()), numbers[:, 8].mean()
    grid = np.linspace(0.0, 1.0, AGES) ** DENSER * horizon
    bents = np.array([bend_until(bend, power, age) for age in grid]) - bend_until(bend, power, last)
    mean = as_one(states, np.ones(draws))
    age = min(reaching(grid, level - (mean[0] - (grid - last) * mean[1] - bents * mean[2]), 0.0), horizon)
    parts = np.ones(draws)
    if age > last:
        usual = max(bend_until(bend, power, age) - bend_until(bend, power, last), LEAST_BEND)
        for draw in range(draws):
            own_bend, own_power = numbers[draw, 7], numbers[draw, 8]
            parts[draw] = (bend_until(own_bend, own_power, age) - bend_until(own_bend, own_power, last)) / usual
    one, reached = as_one(states, parts), np.empty(AGES)
    for at in range(AGES):
        middle, variance, _ = moments(one, grid[at] - last, bents[at], stray)
        reached[at] = (level - middle) / sqrt(variance)
    latest = np.linspace(LATEST, 1.0, len(asked)) * horizon
    for at in range(len(asked)):
        latest[at] = min(reaching(grid, reached, asked[at]), latest[at])
    return latest


@compiled
def probit(age: float, states: FloatArray, numbers: FloatArray, years: FloatArray) -> float:
    """Return the probit of the law at `age`."""
    chance = law(age, years[0], years[1], states, numbers)
    return ndtri(min(max(chance, LEAST_CHANCE), 1 - LEAST_CHANCE))


@compiled
def insert(ages: FloatArray, reached: FloatArray, size: int, new: tuple[float, float]) -> None:
    """Put an age and its probit among the first `size` ages, in order."""
    at = size
    while at > 0 and ages[at - 1] > new[0]:
        ages[at], reached[at] = ages[at - 1], reached[at - 1]
        at -= 1
    ages[at], reached[at] = new


@compiled
def looked_up(
    states: FloatArray, numbers: FloatArray, years: FloatArray, asked: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return ages and probits, close together where they are asked. See `FadeOutlook.crossing_ages`."""
    horizon, size = years[2], len(asked)
    ages, reached = np.empty(size * (1 + MOST_TIMES)), np.empty(size * (1 + MOST_TIMES))
    ages[:size] = first_ages(states, numbers, years, asked)
    for at in range(size):
        reached[at] = probit(ages[at], states, numbers, years)
    for _ in range(MOST_TIMES):
        found = [min(reaching(ages[:size], reached[:size], each), horizon) for each in asked]
        close = True
        for each in range(len(asked)):
            now = probit(found[each], states, numbers, years)
            apart = now - asked[each]
            close = close and (abs(apart) <= CLOSE or (found[each] >= horizon and apart <= 0))
            insert(ages, reached, size, (found[each], now))
            size += 1
        if close:
            break
    return ages[:size], reached[:size]


@compiled
def crossings(
    tests: FloatArray,
    count: IntArray,
    years: tuple[float, float],
    numbers: FloatArray,
    asked: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the crossing ages (Q, P), log likelihoods (R, P) and doubts (P,) of all packs.

    `tests` (P, K, 2): ages and fractions, `count` (P,) of them. `years`: horizon after the last test, and the level.
    `asked`: the probits (Q,) wanted, and those at which the law is taken.
    """
    packs, draws, (horizon, level), (wanted, spread) = len(count), len(numbers), years, asked
    found, likelihood, doubt = np.empty((len(wanted), packs)), np.empty((draws, packs)), np.empty(packs)
    states = np.empty((draws, WIDTH))
    for pack in range(packs):
        for draw in range(draws - 1, -1, -1):
            likelihood[draw, pack], doubt[pack] = learn(states[draw], tests[pack], count[pack], numbers[draw])
            settle(states[draw], level)
        last = tests[pack, count[pack] - 1, 0] if count[pack] else 0.0
        latest = last + horizon
        ages, reached = looked_up(states, numbers, np.array([level, last, latest]), spread)
        for each in range(len(wanted)):
            age = reaching(ages, reached, wanted[each])
            never = ages[-1] >= latest and reached.max() < wanted[each]
            found[each, pack] = inf if never or age > latest else age
    return found, likelihood, doubt
