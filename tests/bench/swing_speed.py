#!/usr/bin/python3
"""The swing fit's speed beside SciPy's and lmfit's on the same night (`swing_bench speed FILE`).

  - The same fit: the likelihood of a stirred, damped oscillator with white noise of the readings by
    a Kalman filter in NumPy, over the same means (43,200 positions become 4,000), Nelder-Mead by
    SciPy over period, damping and torque noise. No choice of the model, no slow noise, no kicks, no
    covariance, no Monte Carlo: less than what our time includes.
  - Another fit, for what it costs: least squares of all positions at once, soft-L1 loss, by
    scipy.optimize.least_squares, and 100,000 draws from its covariance. It knows of no stirring.
Each also by lmfit, which calls the same routines of SciPy on parameters of its own.
Needs the Debian packages python3-scipy and python3-lmfit.   Use: tests/bench/swing_speed.py FILE
"""
import sys
import time
from pathlib import Path

import lmfit
import numpy as np
from scipy import optimize

import swing_reference
from swing_reference import averaged, basis, per_segment, read_track

DRAWS = 100_000
READINGS = 4000


def innovations(y, t, side, counts, w, g, growth):
    """Of every column of y by itself, the swing's random part being zero at each segment's start,
    and their variance; in units of one reading's white variance."""
    w0_square = w * w + g * g
    v = growth * w / (4 * np.pi * g)
    stationary = v * np.diag([1.0, w0_square])
    steps = {}
    out, variance = np.empty_like(y), np.empty(len(t))
    for i in range(len(t)):
        if i == 0 or side[i] != side[i - 1]:
            state, spread = np.zeros((2, y.shape[1])), np.zeros((2, 2))
        else:
            dt = round(t[i] - t[i - 1], 6)
            if dt not in steps:
                e = np.exp(-g * dt)
                c, s = e * np.cos(w * dt), e * np.sin(w * dt) / w
                phi = np.array([[c + g * s, s], [-w0_square * s, c - g * s]])
                steps[dt] = phi, stationary - phi @ stationary @ phi.T
            phi, q = steps[dt]
            state, spread = phi @ state, phi @ spread @ phi.T + q
        out[i] = y[i] - state[0]
        variance[i] = spread[0, 0] + 1.0 / counts[i]
        gain = spread[:, 0] / variance[i]
        state = state + np.outer(gain, out[i])
        spread = spread - np.outer(gain, spread[0])
    return out, variance


def restricted(t, x, side, counts, w, g, growth):
    y = np.column_stack([x, basis(t, side, w, g)])
    e, f = innovations(y, t, side, counts, w, g, growth)
    white = e / np.sqrt(f)[:, None]
    normal = white[:, 1:].T @ white[:, 1:]
    beta = np.linalg.solve(normal, white[:, 1:].T @ white[:, 0])
    freedom = len(t) - len(beta)
    square = np.sum((white[:, 0] - white[:, 1:] @ beta) ** 2)
    return -0.5 * (freedom * np.log(square / freedom) + np.sum(np.log(f))
                   + np.linalg.slogdet(normal)[1]), beta


def by_scipy(cost, level):
    """Least cost, where it is."""
    best = optimize.minimize(cost, [0, 0, level], method="Nelder-Mead",
                             options={"xatol": 0.02, "fatol": 0.01})
    return best.fun, best.x


def by_lmfit(cost, level):
    parameters = lmfit.Parameters()
    for name, value in (("period", 0.0), ("damping", 0.0), ("growth", level)):
        parameters.add(name, value=value)
    # A single value is minimised as it is (lmfit squares and adds up arrays only).
    best = lmfit.minimize(lambda p: cost(list(p.valuesdict().values())), parameters, method="nelder",
                          options={"xatol": 0.02, "fatol": 0.01})
    point = list(best.params.valuesdict().values())
    return cost(point), point


def likelihood_fit(minimum, t, x, side, start):
    swing_reference.AVERAGED_S = (t[-1] - t[0]) / READINGS
    t, x, side, counts = averaged(t, x, side)

    def plain(p):
        return start[0] * (1 + 1e-2 * p[0]), start[1] * np.exp(0.1 * p[1]), np.exp(p[2])

    _, point = min((minimum(lambda p: -restricted(t, x, side, counts, *plain(p))[0], level)
                    for level in (-8.0, 0.0)), key=lambda found: found[0])
    beta = restricted(t, x, side, counts, *plain(point))[1]
    return beta[0] - beta[1]


def scipy_squares(residuals, first, scale):
    """Parameters and their covariance."""
    fit = optimize.least_squares(residuals, first, loss="soft_l1", f_scale=scale, x_scale="jac")
    return fit.x, np.linalg.inv(fit.jac.T @ fit.jac) * 2 * fit.cost / (len(fit.fun) - len(fit.x))


def lmfit_squares(residuals, first, scale):
    parameters = lmfit.Parameters()
    for k, value in enumerate(first):
        parameters.add(f"p{k}", value=value)
    fit = lmfit.minimize(lambda p: residuals(np.array(list(p.valuesdict().values()))), parameters,
                         method="least_squares", loss="soft_l1", f_scale=scale, x_scale="jac")
    return np.array(list(fit.params.valuesdict().values())), fit.covar


def least_squares_fit(solve, t, x, side, start):
    linear = np.linalg.lstsq(basis(t, side, *start), x, rcond=None)[0]

    def residuals(p):
        return basis(t, side, start[0] * p[0], start[1] * p[1]) @ p[2:] - x

    first = np.concatenate([[1, 1], linear])
    scale = 1.4826 * np.median(np.abs(residuals(first)))
    best, covariance = solve(residuals, first, scale)
    drawn = np.random.default_rng(1).multivariate_normal(best, covariance, DRAWS)
    return float(np.mean(drawn[:, 2] - drawn[:, 3]))


def main(path):
    t, x, side = read_track(path)
    for what, fit, by in (("SciPy, likelihood", likelihood_fit, by_scipy),
                          ("lmfit, likelihood", likelihood_fit, by_lmfit),
                          ("SciPy, least squares", least_squares_fit, scipy_squares),
                          ("lmfit, least squares", least_squares_fit, lmfit_squares)):
        begin = time.process_time()
        _, (w, g) = per_segment(t, x, side)
        shift = fit(by, t, x, side, (w, max(g, 1e-5)))
        print(f"{what}, {len(t)} positions: {time.process_time() - begin:.2f} s of processor time, "
              f"shift {shift:.4f} mm")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
