import numpy as np
import pytest
from scipy.special import gammaln, ive
from scipy.stats import chi2, ncx2
from tapewright.codecs.line_codes.envelope_likelihood import log_bessel_i0, log_bessel_rise, tone_against_silence


def test_log_bessel_i0_against_scipy() -> None:
    """scipy.special.ive; Abramowitz and Stegun state 2e-7 for both halves."""
    x = np.concatenate([np.linspace(0, 20, 2001), np.geomspace(20, 1e9, 50)])
    assert np.abs(log_bessel_i0(x) - (np.log(ive(0, x)) + x)).max() < 5e-7


@pytest.mark.parametrize("order", [1, 3, 20])
def test_log_bessel_rise_against_scipy(order: int) -> None:
    """The expansion's first term is within 1 / (7 order), found numerically."""
    x = np.geomspace(0.01, 1e6, 60)
    exact = np.log(ive(order, x)) + x + gammaln(order + 1) + order * np.log(2 / x)
    assert np.abs(log_bessel_rise(order, x) - exact).max() < 1 / (7 * order)


@pytest.mark.parametrize("looks", [1, 4])
def test_likelihood_ratio_against_the_densities(looks: int) -> None:
    """Twice the power is chi-square with 2 looks degrees of freedom, noncentral by twice the gain with a tone."""
    power = np.linspace(0.5, 60, 40)
    exact = ncx2.logpdf(2 * power, 2 * looks, 2 * 12.0) - chi2.logpdf(2 * power, 2 * looks)
    assert np.abs(tone_against_silence(power, 12.0, looks) - exact).max() < 0.05
