#!/usr/bin/python3
"""What a whole film costs, and the spot's error in it, beside loops over general-purpose libraries.

Each way reads the same film in a process of its own, in turns: OpenCV's bare decode loop; the same
loop with a library of spot_reference.py measuring in 81 x 81 pixels around the spot, which are cut
out for it where the truth says; and `nightswing replay`, which is told nothing, and also reads the
wall's scale, watches the camera and writes the run folder. Prints the medians, their ratio to the
decode loop, and the error against the film's truth where a place was found within 5 px of it.
Needs the Debian packages python3-scipy, python3-sep and python3-opencv, which nothing else does.
Use: tests/bench/replay_reference.py NIGHTSWING NIGHT_FOLDER [ROUNDS]
     NIGHT_FOLDER holds night.mp4 and truth_track.csv, as demo_night writes them
"""
import csv
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from spot_reference import FOUND_PX, METHODS, flattened

HALF_PX = 40
DECODE = "decode loop"
OURS = "nightswing replay"
MOST_FRAMES = {"SciPy fit": 300}  # enough of what takes so long


def column(path, name):
    return [float(row[name]) if row[name] else None for row in csv.DictReader(open(path))]


def truth_of(night):
    return list(zip(*(column(night / "truth_track.csv", name) for name in ("x_px", "y_px"))))


def place_in(picture, way, truth):
    """Where the way finds the spot in a picture in colour, in its pixels, or nothing."""
    left, top = (max(0, round(p) - HALF_PX) for p in truth)
    window = picture[top : round(truth[1]) + HALF_PX + 1, left : round(truth[0]) + HALF_PX + 1]
    gray = cv2.cvtColor(np.ascontiguousarray(window), cv2.COLOR_BGR2GRAY)
    found = METHODS[way](*flattened(gray.astype(np.float64)))
    return found and (float(found[0]) + left, float(found[1]) + top)


def loop(way, night):
    """The body of one process: what it costs without the libraries' loading, and the places."""
    truth = truth_of(night)
    begin, processor_begin = time.perf_counter(), time.process_time()
    capture = cv2.VideoCapture(str(night / "night.mp4"), cv2.CAP_FFMPEG)
    places = []
    while len(places) < MOST_FRAMES.get(way, len(truth)):
        good, picture = capture.read()
        if not good:
            break
        places.append(None if way == DECODE else place_in(picture, way, truth[len(places)]))
    print(json.dumps({"s": time.perf_counter() - begin, "places": places,
                      "processor_s": time.process_time() - processor_begin}))


def cost_of(command):
    """Wall-clock and processor seconds, peak memory in MB and standard output of a process."""
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    out = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    if status != 0:
        sys.exit(f"failed: {command}")
    return time.perf_counter() - begin, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, out


def errors_text(places, truth):
    pairs = [np.subtract(p, t) for p, t in zip(places, truth) if p is not None]
    near = np.array([e for e in pairs if np.hypot(*e) < FOUND_PX])
    if len(near) == 0:
        return "none"
    rms = np.sqrt(np.mean(near**2, axis=0))
    return f"{rms[0]:.3f}, {rms[1]:.3f} px in {len(near)} of {len(places)}"


def main(program, night, rounds):
    truth = truth_of(night)
    costs, places = {}, {}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(rounds):
            for way in [DECODE, *METHODS]:
                *_, memory_mb, out = cost_of([sys.executable, __file__, "--loop", way, night])
                told = json.loads(out)
                places[way] = told["places"]
                a_frame = 1e3 / len(places[way])
                cost = (a_frame * told["s"], a_frame * told["processor_s"], memory_mb)
                costs.setdefault(way, []).append(cost)
            run = Path(folder) / str(number)
            film = night / "night.mp4"
            command = [program, "replay", film, "--frame-every", "5s", "--run", run, "--quiet"]
            wall_s, processor_s, memory_mb, _ = cost_of(command)
            xy = zip(*(column(run / "track.csv", name) for name in ("x_px", "y_px")))
            places[OURS] = [place if None not in place else None for place in xy]
            a_frame = 1e3 / len(places[OURS])
            costs.setdefault(OURS, []).append((a_frame * wall_s, a_frame * processor_s, memory_mb))
    print("| way | ms a frame | times the decode loop | of processor time | peak memory, MB "
          "| r.m.s. error in x, y |")
    print("| --- | --- | --- | --- | --- | --- |")
    middle = {way: [statistics.median(c[i] for c in costs[way]) for i in range(3)] for way in costs}
    bare = middle[DECODE]
    for way, (wall_ms, processor_ms, memory_mb) in middle.items():
        error = "" if way == DECODE else errors_text(places[way], truth)
        print(f"| {way} | {wall_ms:.2f} | {wall_ms / bare[0]:.2f} | {processor_ms / bare[1]:.2f} | "
              f"{memory_mb:.0f} | {error} |")


if __name__ == "__main__":
    if len(sys.argv) == 4 and sys.argv[1] == "--loop":
        loop(sys.argv[2], Path(sys.argv[3]))
    elif len(sys.argv) in (3, 4):
        main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) == 4 else 3)
    else:
        sys.exit(__doc__)
