#!/usr/bin/python3
"""The swing fit's speed beside SciPy's on the same night (written by `swing_bench speed FILE`).

  - The same fit: the likelihood of a stirred, damped oscillator with white noise of the readings by
    a Kalman filter in NumPy, over the same means (43,200 positions become 4,000), Nelder-Mead by
    SciPy over period, damping and torque noise. No choice of the model, no slow noise, no kicks, no
    covariance, no Monte Carlo: less than what our time includes.
  - Another fit, for what it costs: least squares of all positions at once, soft-L1 loss, by
    scipy.optimize.least_squares, and 100,000 draws from its covariance. It knows of no stirring.
lmfit calls the same SciPy routines with more ado, so it cannot be faster.
Needs the Debian package python3-scipy.   Use: tests/bench/swing_speed.py FILE
"""
import sys
import time
from pathlib import Path

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


def likelihood_fit(t, x, side, start):
    swing_reference.AVERAGED_S = (t[-1] - t[0]) / READINGS
    t, x, side, counts = averaged(t, x, side)

    def plain(p):
        return start[0] * (1 + 1e-2 * p[0]), start[1] * np.exp(0.1 * p[1]), np.exp(p[2])

    best = min((optimize.minimize(lambda p: -restricted(t, x, side, counts, *plain(p))[0],
                                  [0, 0, level], method="Nelder-Mead",
                                  options={"xatol": 0.02, "fatol": 0.01}) for level in (-8.0, 0.0)),
               key=lambda r: r.fun)
    beta = restricted(t, x, side, counts, *plain(best.x))[1]
    return beta[0] - beta[1]


def least_squares_fit(t, x, side, start):
    linear = np.linalg.lstsq(basis(t, side, *start), x, rcond=None)[0]

    def residuals(p):
        return basis(t, side, start[0] * p[0], start[1] * p[1]) @ p[2:] - x

    first = np.concatenate([[1, 1], linear])
    scale = 1.4826 * np.median(np.abs(residuals(first)))
    fit = optimize.least_squares(residuals, first, loss="soft_l1", f_scale=scale, x_scale="jac")
    covariance = np.linalg.inv(fit.jac.T @ fit.jac) * 2 * fit.cost / (len(x) - len(fit.x))
    drawn = np.random.default_rng(1).multivariate_normal(fit.x, covariance, DRAWS)
    return float(np.mean(drawn[:, 2] - drawn[:, 3]))


def main(path):
    t, x, side = read_track(path)
    for what, fit in (("likelihood", likelihood_fit), ("least squares", least_squares_fit)):
        begin = time.process_time()
        _, (w, g) = per_segment(t, x, side)
        shift = fit(t, x, side, (w, max(g, 1e-5)))
        print(f"SciPy, {what}, {len(t)} positions: {time.process_time() - begin:.2f} s of processor time, "
              f"shift {shift:.4f} mm")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
