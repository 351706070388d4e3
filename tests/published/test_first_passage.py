"""First passage of a Wiener fade against closed forms.

Source of the values: inverse Gaussian law, and the same with a normal drift, evaluated from their printed forms
(C.-Y. Peng, S.-T. Tseng, "Mis-specification analysis of linear degradation models", IEEE Trans. Reliability 58 (2009)
444-455, for the second; from memory) and checked by Monte Carlo.
"""

import numpy as np
import pytest

from fleet.core.battery.bend.passage import Course


def course(fade_sd: float) -> Course:
    """A gap of .22 above level .80 that fades .05 a year with diffusion .03, the fade known to `fade_sd`."""
    covariance = np.zeros((3, 3, 1))
    covariance[1, 1] = fade_sd**2
    return Course(
        age=np.zeros(1),
        mean=np.array([[1.02], [0.05], [1.0]]),
        covariance=covariance,
        bend=np.array(0.0),
        power=np.array(2.0),
        stray=np.array(0.03**2),
    )


def test_a_known_drift_gives_the_inverse_gaussian_law() -> None:
    """F(4) = .42231431."""
    assert course(0.0).chance_passed(np.array([4.0]), 0.80)[0] == pytest.approx(0.42231431, abs=1e-8)


@pytest.mark.parametrize(
    ("age", "chance"), [(2.0, 0.01310397), (4.0, 0.44475327), (6.0, 0.78514054), (10.0, 0.95377827)]
)
def test_a_normal_drift_gives_its_closed_form(age: float, chance: float) -> None:
    """With the drift's SD .015 the law is the printed one."""
    assert course(0.015).chance_passed(np.array([age]), 0.80)[0] == pytest.approx(chance, abs=1e-7)
