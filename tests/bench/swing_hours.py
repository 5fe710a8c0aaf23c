#!/usr/bin/python3
"""Hours of watching for 1 % on the shift, by four ways, on the same nights (written by
`swing_bench hours FOLDER`): a third of the time on side plus, on minus, and on plus again, so that a
steady drift cancels, whoever reckons; or, with 2 as its last word, half on plus and half on minus.

  - our fit (answers.csv),
  - scipy.optimize.curve_fit of one damped swing per segment, as in swing_reference.py,
  - turning points: a parabola about each turn of a smoothed track, (x1 + 2 x2 + x3)/4 of every three
    in a row, their mean in each segment (the way of the textbooks: common practice, no source); the
    first seven turns, before the noise makes turns of its own,
  - waiting: the mean of the last period of each segment.

The last three give the rest place of each segment, and the shift as the mean of those on plus less
that on minus. For each length the r.m.s. error of the shift over the nights; the hours are where it
falls below 1 % of the shift for good, between two lengths by a straight line in the logarithms.
Needs the Debian package python3-scipy.   Use: tests/bench/swing_hours.py FOLDER
"""
import csv
import math
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

from swing_reference import fit_one_swing, read_track

PERIOD_S = 545.0
WANTED = 0.01
MOST_TURNS = 7


def level_by_turns(t, x):
    """Turns of a smoothed track, each found again by a parabola over a fifth of a period."""
    window = max(3, int(PERIOD_S / 20 / np.median(np.diff(t))) | 1)
    smooth = np.convolve(x, np.ones(window) / window, mode="valid")
    slope = np.sign(np.diff(smooth))
    times, values = [], []
    for i in np.flatnonzero(slope[1:] * slope[:-1] < 0) + 1 + window // 2:
        if times and t[i] - times[-1] < PERIOD_S / 4:
            continue  # noise at the same turn
        near = np.abs(t - t[i]) < PERIOD_S / 10
        a, b, c = np.polyfit(t[near] - t[i], x[near], 2)
        times.append(t[i])
        values.append(c - b * b / (4 * a) if a != 0 else c)
    values = np.array(values[:MOST_TURNS])
    if len(values) < 3:
        return math.nan
    return float(np.mean((values[:-2] + 2 * values[1:-1] + values[2:]) / 4))


def level_by_waiting(t, x):
    return float(np.mean(x[t > t[-1] - PERIOD_S]))


def level_by_curve_fit(t, x):
    try:
        return fit_one_swing(t, x)[0]
    except RuntimeError:  # it gave up
        return math.nan


def shift(level, t, x, side):
    ends = np.flatnonzero(np.diff(side)) + 1
    levels = [level(*part) for part in zip(np.split(t, ends), np.split(x, ends))]
    return np.mean(levels[0::2]) - levels[1]


def hours_for(lengths, errors, wanted):
    """Where the error falls below the wanted one for good."""
    bad = [i for i, e in enumerate(errors) if not e <= wanted]
    if not bad:
        return f"{lengths[0]:.2f} or less"
    last = bad[-1]
    if last == len(lengths) - 1:
        return f"more than {lengths[-1]:.1f}"
    if not math.isfinite(errors[last]):
        return f"{lengths[last + 1]:.2f}"
    share = math.log(errors[last] / wanted) / math.log(errors[last] / errors[last + 1])
    return f"{lengths[last] * (lengths[last + 1] / lengths[last]) ** share:.2f}"


def main(folder):
    ways = ["our fit", "SciPy curve_fit", "turning points", "waiting"]
    errors = defaultdict(lambda: defaultdict(list))
    true = {}
    for a in csv.DictReader(open(folder / "answers.csv"), delimiter=";"):
        t, x, side = read_track(folder / a["file"])
        kind, hours = a["kind"], float(a["hours"])
        true[kind] = float(a["true_shift_mm"])
        found = [float(a["shift_mm"])] + [shift(level, t, x, side) for level in
                                          (level_by_curve_fit, level_by_turns, level_by_waiting)]
        for way, value in zip(ways, found):
            errors[kind, way][hours].append(value - true[kind])
    for kind in true:
        print(f"{kind}: r.m.s. error of the shift in % (a dash: no answer in some night)")
        lengths = sorted(errors[kind, ways[0]])
        print("    hours            " + " ".join(f"{h:7.2f}" for h in lengths) + "   for 1 %")
        for way in ways:
            rms = [float(np.sqrt(np.mean(np.square(errors[kind, way][h])))) / true[kind] for h in lengths]
            shown = " ".join(f"{100 * e:7.2f}" if math.isfinite(e) else "      -" for e in rms)
            print(f"    {way:16} {shown}   {hours_for(lengths, rms, WANTED)} h")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
