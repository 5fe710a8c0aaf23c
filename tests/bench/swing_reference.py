#!/usr/bin/python3
"""The swing fit against SciPy on the same nights (written by `swing_bench tracks FOLDER`).

For each kind of night: r.m.s. error of the shift by
  - our fit (answers.csv),
  - maximum likelihood of the same physics in SciPy, without any filter: the dense covariance matrix
    of all readings (impulse response of the oscillator squared), generalised least squares for the
    rest positions and drift, Nelder-Mead over period, damping and torque noise,
  - scipy.optimize.curve_fit of one damped swing per segment, no drift.
Needs the Debian package python3-scipy.   Use: tests/bench/swing_reference.py FOLDER
"""
import csv
import sys
import time
from pathlib import Path

import numpy as np
from scipy import linalg, optimize

AVERAGED_S = 20.0
CELL_S = 10.0


def read_track(path):
    rows = np.array([[float(v) for v in row] for row in list(csv.reader(open(path)))[1:]])
    return rows[:, 0], rows[:, 1], rows[:, 2]


def averaged(t, x, side):
    """Means over 20 s within a side: the covariance matrix stays small."""
    keys = np.stack([side, np.floor(t / AVERAGED_S)], axis=1)
    _, index, counts = np.unique(keys, axis=0, return_inverse=True, return_counts=True)
    index = index.ravel()
    means = [np.bincount(index, v) / counts for v in (t, x, side)]
    order = np.argsort(means[0])
    return [m[order] for m in means] + [counts[order]]


def basis(t, side, w, g):
    """Levels of both sides, linear drift, and a free swing in each segment."""
    columns = [(side > 0) * 1.0, (side < 0) * 1.0, 2.0 * t / t[-1] - 1.0]
    for s in (1, -1):
        here = side * s > 0
        since = np.where(here, t - t[here][0], 0.0)
        for wave in (np.cos, np.sin):
            columns.append(np.where(here, np.exp(-g * since) * wave(w * since), 0.0))
    return np.stack(columns, axis=1)


def covariance(t, side, counts, w, g, growth):
    """White noise over the readings in each mean, and the swing that random impulses built up since
    the segment's start; in units of one reading's white variance."""
    v = np.diag(1.0 / counts)
    density = growth * 2.0 * (w * w + g * g) * w / (2.0 * np.pi)
    for s in (1, -1):
        here = np.flatnonzero(side * s > 0)
        cells = np.arange(t[here[0]] + CELL_S / 2, t[here[-1]], CELL_S)
        ago = t[here][:, None] - cells[None, :]
        response = np.where(ago > 0, np.exp(-g * np.abs(ago)) * np.sin(w * ago) / w, 0.0)
        v[np.ix_(here, here)] += density * CELL_S * response @ response.T
    return v


def restricted_fit(x, design, v):
    triangle = linalg.cholesky(v, lower=True)
    white_design = linalg.solve_triangular(triangle, design, lower=True)
    white_x = linalg.solve_triangular(triangle, x, lower=True)
    normal = white_design.T @ white_design
    beta = linalg.solve(normal, white_design.T @ white_x, assume_a="pos")
    freedom = len(x) - design.shape[1]
    variance = np.sum((white_x - white_design @ beta) ** 2) / freedom
    value = -0.5 * (freedom * np.log(variance) + 2 * np.sum(np.log(np.diag(triangle)))
                    + np.linalg.slogdet(normal)[1])
    return value, beta


def likelihood_shift(t, x, side, start):
    t, x, side, counts = averaged(t, x, side)

    def cost(p):
        w, g, growth = start[0] * (1 + 1e-2 * p[0]), start[1] * np.exp(0.1 * p[1]), np.exp(p[2])
        try:
            return -restricted_fit(x, basis(t, side, w, g), covariance(t, side, counts, w, g, growth))[0]
        except linalg.LinAlgError:
            return 1e12

    best = min((optimize.minimize(cost, [0, 0, level], method="Nelder-Mead",
                                  options={"xatol": 0.02, "fatol": 0.01}) for level in (-8.0, 0.0)),
               key=lambda r: r.fun)
    p = best.x
    w, g, growth = start[0] * (1 + 1e-2 * p[0]), start[1] * np.exp(0.1 * p[1]), np.exp(p[2])
    beta = restricted_fit(x, basis(t, side, w, g), covariance(t, side, counts, w, g, growth))[1]
    return beta[0] - beta[1]


def one_swing(t, level, a, b, w, g):
    return level + np.exp(-g * t) * (a * np.cos(w * t) + b * np.sin(w * t))


def fit_one_swing(t, x):
    """curve_fit of one segment, the period from the best of a scan: level, (w, g)."""
    since = t - t[0]
    tried = []
    for period in np.arange(450.0, 700.0, 20.0):
        w = 2 * np.pi / period
        design = np.stack([np.ones_like(since), np.cos(w * since), np.sin(w * since)], axis=1)
        rest = np.linalg.lstsq(design, x, rcond=None)
        tried.append((rest[1][0], w, rest[0]))
    _, w, c = min(tried, key=lambda r: r[0])
    p, _ = optimize.curve_fit(one_swing, since, x, p0=[*c, w, 5e-4], maxfev=20000)
    return p[0], p[3:]


def per_segment(t, x, side):
    plus, swing = fit_one_swing(t[side > 0], x[side > 0])
    return plus - fit_one_swing(t[side < 0], x[side < 0])[0], swing


def main(folder):
    answers = list(csv.DictReader(open(folder / "answers.csv")))
    for kind in sorted({a["kind"] for a in answers}):
        errors = {"our fit": [], "SciPy likelihood": [], "SciPy curve_fit": []}
        seconds = {name: 0.0 for name in errors}
        for a in (a for a in answers if a["kind"] == kind):
            true = float(a["true_shift_mm"])
            t, x, side = read_track(folder / f"{kind}_{a['night']}.csv")
            errors["our fit"].append(float(a["shift_mm"]) - true)
            seconds["our fit"] += float(a["seconds"])
            begin = time.perf_counter()
            shift, swing = per_segment(t, x, side)
            seconds["SciPy curve_fit"] += time.perf_counter() - begin
            errors["SciPy curve_fit"].append(shift - true)
            begin = time.perf_counter()
            errors["SciPy likelihood"].append(
                likelihood_shift(t, x, side, (swing[0], max(swing[1], 1e-5))) - true)
            seconds["SciPy likelihood"] += time.perf_counter() - begin
        print(f"kind {kind}, {len(errors['our fit'])} nights")
        for name, e in errors.items():
            rms = np.sqrt(np.mean(np.square(e)))
            print(f"    {name:18} r.m.s. error {rms:.4f} mm, {seconds[name] / len(e):.3f} s a night")
        apart = np.array(errors["our fit"]) - np.array(errors["SciPy likelihood"])
        print(f"    our fit less SciPy likelihood: r.m.s. {np.sqrt(np.mean(apart ** 2)):.4f} mm")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
