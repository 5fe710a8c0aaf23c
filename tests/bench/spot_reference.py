#!/usr/bin/python3
"""General-purpose libraries on the pictures of the accuracy table (`spot_bench frames FOLDER`).

For each condition nightswing's bias, r.m.s. error, the Cramer-Rao bound, and how wide the errors
scatter in units of its own u; then r.m.s. error over the bound, and how many of the pictures gave no
place within 5 px of the truth (which do not enter), by nightswing and, after a plane through the rim
of the picture was taken off for them, by
  - SciPy: centre of mass of the largest region above 3 scatters of the rim,
  - SEP: extraction at 3 scatters, then the windowed position, its window from the half-light radius,
  - OpenCV: moments of the light above Otsu's threshold,
  - SciPy curve_fit: a Gaussian on a constant, every pixel alike.
Needs the Debian packages python3-scipy, python3-sep and python3-opencv, which nothing else does.
Use: tests/bench/spot_reference.py FOLDER
"""
import csv
import sys
import time
import warnings
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np
import sep
from scipy import ndimage, optimize

FOUND_PX = 5.0


def flattened(picture):
    """The picture less the plane through its rim, and the scatter of the rim around the plane."""
    y, x = np.indices(picture.shape)
    rim = np.ones(picture.shape, bool)
    rim[4:-4, 4:-4] = False
    terms = np.stack([np.ones(picture.shape), x, y], axis=-1)
    plane, *_ = np.linalg.lstsq(terms[rim], picture[rim], rcond=None)
    light = picture - terms @ plane
    return np.ascontiguousarray(light), max(light[rim].std(), 0.3)


def scipy_centre(light, scatter):
    labels, count = ndimage.label(light > 3 * scatter)
    if count == 0:
        return None
    sizes = np.bincount(labels.ravel())[1:]
    y, x = ndimage.center_of_mass(light, labels, 1 + int(np.argmax(sizes)))
    return x, y


def sep_windowed(light, scatter):
    lights = sep.extract(light, 3.0, err=scatter)
    if len(lights) == 0:
        return None
    best = lights[np.argmax(lights["flux"])]
    radius, _ = sep.flux_radius(light, [best["x"]], [best["y"]], [6.0 * best["a"]], 0.5, subpix=5)
    x, y, flag = sep.winpos(light, [best["x"]], [best["y"]], 2.0 / 2.35 * radius)
    return (float(x[0]), float(y[0])) if np.isfinite(x[0]) else None


def opencv_moments(light, scatter):
    counts = np.clip(np.round(light), 0, 255).astype(np.uint8)
    _, kept = cv2.threshold(counts, 0, 255, cv2.THRESH_TOZERO + cv2.THRESH_OTSU)
    moments = cv2.moments(kept)
    if moments["m00"] == 0:
        return None
    return moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]


def fitted_gaussian(light, scatter):
    start = scipy_centre(light, scatter)
    if start is None:
        return None
    y, x = np.indices(light.shape)
    width = np.sqrt(max(np.count_nonzero(light > 0.5 * light.max()), 1) / (2 * np.pi * np.log(2)))

    def model(_, peak, cx, cy, sx, sy, base):
        return (base + peak * np.exp(-0.5 * (((x - cx) / sx) ** 2 + ((y - cy) / sy) ** 2))).ravel()

    first = [light.max(), start[0], start[1], width, width, 0.0]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", optimize.OptimizeWarning)  # of the covariance, not used
            fitted, _ = optimize.curve_fit(model, None, light.ravel(), p0=first, maxfev=200)
    except RuntimeError:  # not converged
        return None
    return fitted[1], fitted[2]


METHODS = {"SciPy mass": scipy_centre, "SEP window": sep_windowed, "OpenCV moments": opencv_moments,
           "SciPy fit": fitted_gaussian}


def ratio_of(found, truth, bound_px):
    """Text: ratio to the bound, and the share found if it is not all."""
    places = np.array([p if p is not None else (np.nan, np.nan) for p in found])
    apart = np.hypot(*(places - truth).T)
    near = apart < FOUND_PX
    if not near.any():
        return "none"
    ratio = np.sqrt(np.mean((places[near] - truth[near]) ** 2)) / bound_px
    lost = len(near) - np.count_nonzero(near)
    return f"{ratio:.2f}" + (f" ({lost} lost)" if lost else "")


def own_cells(rows, truth, bound_px):
    """Texts: bias in x and y, r.m.s. error, bound, width of the errors in units of u."""
    measured = np.array([bool(row["x_px"]) for row in rows])
    columns = ("x_px", "y_px", "u_x_px", "u_y_px")
    x, y, u_x, u_y = (np.array([float(r[c]) for r in rows if r["x_px"]]) for c in columns)
    errors = np.stack([x, y], axis=1) - truth[measured]
    near = np.hypot(*errors.T) < FOUND_PX
    pulls = errors[near] / np.stack([u_x, u_y], axis=1)[near]
    bias = errors[near].mean(axis=0)
    rms = np.sqrt(np.mean(errors[near] ** 2))
    return [f"{bias[0]:+.4f}, {bias[1]:+.4f}", f"{rms:.4f}", f"{bound_px:.4f}",
            f"{np.sqrt(np.mean(pulls**2)):.2f}"]


def main(folder):
    pictures = defaultdict(list)
    for row in csv.DictReader(open(folder / "pictures.csv")):
        pictures[row["condition"]].append(row)
    seconds = defaultdict(float)
    names = ["bias, px", "r.m.s., px", "bound, px", "pull", "nightswing", *METHODS]
    print("| condition | " + " | ".join(names) + " |\n|" + " --- |" * (len(names) + 1))
    total = 0
    for condition in csv.DictReader(open(folder / "conditions.csv")):
        rows = pictures[condition["condition"]]
        side = int(condition["side_px"])
        raw = np.fromfile(folder / condition["file"], np.uint8).reshape(len(rows), side, side)
        truth = np.array([(float(r["true_x_px"]), float(r["true_y_px"])) for r in rows])
        bound_px = float(condition["bound_px"])
        ours = [(float(r["x_px"]), float(r["y_px"])) if r["x_px"] else None for r in rows]
        flat_pictures = [flattened(picture.astype(np.float64)) for picture in raw]
        cells = [*own_cells(rows, truth, bound_px), ratio_of(ours, truth, bound_px)]
        for name, method in METHODS.items():
            begin = time.perf_counter()
            found = [method(*flat) for flat in flat_pictures]
            seconds[name] += time.perf_counter() - begin
            cells.append(ratio_of(found, truth, bound_px))
        total += len(rows)
        print(f"| {condition['condition']} | " + " | ".join(cells) + " |", flush=True)
    print("wall-clock ms a picture: " + ", ".join(f"{n} {1e3 * s / total:.2f}" for n, s in seconds.items()))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
