"""The bending fade, its bend, straying and wrong tests taken away, is the pooled straight line of the mixed models.

Data: see `test_pooled_fade`. The type's numbers are the maximum-likelihood ones of statsmodels' MixedLM, so that its
log-likelihood is what the filter must return, and its BLUPs and their variances are the filter's state.
"""

import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMResults
from statsmodels.tools.sm_exceptions import ConvergenceWarning

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.filtering import filtered
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out
from fleet.core.battery.bend.outlook import outlook
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.crossing import LineCrossing
from fleet.core.battery.fade import FadePosterior
from tests.core.bend_cases import known
from tests.published.longitudinal import NAMES, columns

pytestmark = pytest.mark.data

NO_STRAYING, NO_BEND, NO_WRONG_TESTS = 1e-9, 1e-12, 1e-30


@dataclass(frozen=True, eq=False)
class Case:
    """A data set, the reference program's answer, and our numbers and histories for it."""

    age: FloatArray
    subjects: int
    reference: MixedLMResults
    numbers: FadeNumbers
    histories: Histories

    @property
    def lines(self) -> FadePosterior:
        """Each subject's line and its conditional covariance as the reference program gives them."""
        effects, covariances = self.reference.random_effects, self.reference.random_effects_cov
        mean = self.reference.fe_params + np.array([effects[row] for row in range(self.subjects)])
        return FadePosterior(mean, np.array([covariances[row] for row in range(self.subjects)]))


def case(folder: Path, name: str, *, left_of: float | None = None) -> Case:
    """Fit a data set with MixedLM by ML and hand its numbers to the bending fade; left of `left_of`, if given."""
    subject, subjects, age, value = columns(folder, name)
    age, value = age - age.min(), value if left_of is None else left_of - value
    design = np.column_stack([np.ones_like(age), -age])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # 1e-10 is asked for, which it cannot always certify
        found = MixedLM(value, design, groups=subject, exog_re=design).fit(reml=False, method="bfgs", gtol=1e-10)
    straight = known(gross=NO_WRONG_TESTS, stray=NO_STRAYING, bend=NO_BEND)
    numbers = replace(
        straight,
        mean=found.fe_params[:, None],
        spread=np.asarray(found.cov_re)[:, :, None],
        noise=np.full_like(straight.noise, found.scale),
    )
    return Case(age, len(subjects), found, numbers, lay_out(FadeTests.of(subject, age, value), len(subjects)))


@pytest.mark.parametrize("name", NAMES)
def test_likelihood_is_that_of_mixed_lm(published_data: Path, name: str) -> None:
    """Summed over subjects, the filter's log-likelihood is the reference program's."""
    each = case(published_data, name)
    found = filtered(each.histories, each.numbers).log_likelihood.sum()
    assert found == pytest.approx(each.reference.llf, abs=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_states_are_the_blups_of_mixed_lm(published_data: Path, name: str) -> None:
    """Level and fade at the last reading, and their variances, are those of the subject's BLUP line."""
    each = case(published_data, name)
    states, lines, row = filtered(each.histories, each.numbers), each.lines, each.histories.row
    last = each.histories.last_age
    line = FadePosterior(lines.mean[row], lines.covariance[row])
    fade_scale = np.sqrt(each.numbers.spread[1, 1, 0])
    assert_allclose(states.mean[0, 0, 0], line.fraction_at(last), rtol=1e-6)
    assert_allclose(states.mean[1, 0, 0] / fade_scale, line.mean[:, 1] / fade_scale, atol=1e-5)
    assert_allclose(states.covariance[0, 0, 0, 0], line.fraction_covariance(last, last), rtol=1e-5)
    assert_allclose(states.covariance[1, 1, 0, 0], line.covariance[:, 1, 1], rtol=1e-5)


def test_crossings_are_those_of_the_straight_line(published_data: Path) -> None:
    """Lasers cross with the chances of the straight line's closed form, now and long after the last reading."""
    each = case(published_data, "gaaslaser", left_of=100.0)
    bending, line = outlook(each.histories, each.numbers, 90.0), LineCrossing(each.lines, 90.0, np.full(15, 3.75))
    for age in (3.75, 4.0, 5.0, 6.0, 8.0):
        assert_allclose(bending(np.full(15, age)), line(np.full(15, age)), atol=1e-6)
