"""The growth curves: their identities, and their derivatives."""

import numpy as np
import pytest

from fermkit.basis.errors import InputError
from fermkit.growth import curves
from fermkit.growth.curves import QUANTITIES, SHAPES, shape_named

T = np.linspace(0, 40, 400_001)
NAMES = sorted(SHAPES)


def parameters(name):
    """ln b, t_i and (Richards) ln nu of one curve well inside its range."""
    return np.array([[np.log(0.4), 12.0, np.log(0.6)][: SHAPES[name].parameters - 1]])


def value(shape, p, time):
    """The shape at times, (m, n)."""
    extra = (np.exp(p[:, 2:3]),) if shape.asymmetric else ()
    return shape.value(np.exp(p[:, :1]), p[:, 1:2], time, *extra)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("t_i", [12.0, 0.5, -2.0])
def test_slopes_are_the_derivatives(name, t_i):
    """The analytic derivatives agree with central differences."""
    shape, time = SHAPES[name], np.linspace(0.1, 40, 33)[None, :]
    p = parameters(name)
    p[0, 1] = t_i
    nu = np.exp(p[:, 2:3]) if shape.asymmetric else None
    g, *slopes = shape.slopes(np.exp(p[:, :1]), p[:, 1:2], time, nu)
    assert np.allclose(g, value(shape, p, time), atol=1e-12)
    for j, slope in enumerate(slopes):
        up, down = p.copy(), p.copy()
        up[0, j] += 1e-6
        down[0, j] -= 1e-6
        assert np.allclose(slope, (value(shape, up, time) - value(shape, down, time)) / 2e-6, atol=1e-7)


@pytest.mark.parametrize("name", NAMES)
def test_largest_rate_and_lag_mean_what_they_say(name):
    """The largest slope is the rate, and the tangent there meets the level at time zero at the lag, in every curve."""
    shape, p = SHAPES[name], parameters(name)
    g = value(shape, p, T)[0]
    slope = np.gradient(g, T)
    top = int(np.argmax(slope))
    numbers, _ = shape.quantities(np.array([600.0]), p)
    final, rate, lag, asymptote = numbers[0]
    assert rate == pytest.approx(600 * slope[top], rel=1e-6)
    assert lag == pytest.approx(T[top] - (g[top] - g[0]) / slope[top], abs=1e-4)
    assert final == pytest.approx(asymptote - 600 * g[0], rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_quantities_know_their_derivatives(name):
    """Final amount, rate, lag and asymptote change with the parameters as their slopes say."""
    shape, p = SHAPES[name], parameters(name)
    theta = np.concatenate([[[np.log(600.0)]], p], axis=1)
    _, slopes = shape.quantities(np.exp(theta[:, 0]), theta[:, 1:])
    for j in range(theta.shape[1]):
        up, down = theta.copy(), theta.copy()
        up[0, j] += 1e-6
        down[0, j] -= 1e-6
        rise = shape.quantities(np.exp(up[:, 0]), up[:, 1:])[0] - shape.quantities(np.exp(down[:, 0]), down[:, 1:])[0]
        assert np.allclose(slopes[0, :, j], rise[0] / 2e-6, rtol=1e-5, atol=1e-5), QUANTITIES


@pytest.mark.parametrize("name", NAMES)
def test_when_inverts_the_shape(name):
    """The time at which a share is reached gives that share back."""
    shape, p = SHAPES[name], parameters(name)
    for share in (0.1, 0.5, 0.9, 0.99):
        time = shape.when(p, share)
        assert value(shape, p, time[:, None])[0, 0] == pytest.approx(share, rel=1e-9)


def test_limits_between_curves():
    """Richards becomes the logistic at 1 and Gompertz near 0; a curve of no lag starts where it should."""
    t = np.linspace(0, 40, 50)
    assert np.allclose(curves.richards(t, 600, 40, 6, 1.0), curves.logistic(t, 600, 40, 6))
    assert np.allclose(curves.richards(t, 600, 40, 6, 1e-6), curves.gompertz(t, 600, 40, 6), rtol=1e-4)
    assert curves.logistic(0, 1, 0.1, 0) == pytest.approx(0.119, abs=5e-4)
    assert curves.gompertz(0, 1, 0.1, 0) == pytest.approx(0.066, abs=5e-4)


def test_linear_baranyi_comes_from_the_published_curve():
    """N(t) - N(0) of the published curve for ln N, over its end, is our linear form with seed exp(-h0)/R."""
    mu, h0, ratio, t = 0.4, 2.0, 50.0, np.linspace(0, 60, 61)
    adapted = t + np.log(np.exp(-mu * t) + np.exp(-h0) - np.exp(-mu * t - h0)) / mu
    ln_n = mu * adapted - np.log(1 + (np.exp(mu * adapted) - 1) / ratio)
    made = (np.exp(ln_n) - 1) / (ratio - 1)
    assert np.allclose(curves.baranyi(t, 1.0, mu, np.exp(-h0) / ratio), made, rtol=1e-9)


def test_unknown_curve_is_refused_with_the_nearest_name():
    """A misspelt curve is answered with the list and the nearest name."""
    with pytest.raises(InputError, match="did you mean 'gompertz'"):
        shape_named("gompert")
