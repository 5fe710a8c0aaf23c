#!/usr/bin/python3
"""A rendered night, watched in real time by the program itself, and analysed: no faked clock.

ffmpeg serves the film of `demo_night` at the pace at which the night passed, as motion JPEG and as
H.264 over HTTP, each to a `nightswing watch` of its own with a live page. After half of the time the
sources are noted at the other side, as somebody at the balance would do, and at the end each run is
analysed and compared with the night's truth. Prints a line a stream; ends with 1 if G or the shift
is more than 3 standard uncertainties off, or the watch needed more than a quarter of a core.
Use: tests/bench/real_time_night.py BUILD_FOLDER FOLDER [MINUTES (50)]
"""
import json
import os
import socket
import subprocess
import sys
import time
from datetime import datetime, timezone
from pathlib import Path

PICTURES_PER_S = 2.0
FILM_PER_S = 25.0  # what demo_night writes
CAMERAS = {
    "motion JPEG over HTTP": ["-c:v", "mjpeg", "-q:v", "2", "-f", "mpjpeg"],
    "H.264 over HTTP": ["-c:v", "libx264", "-preset", "ultrafast", "-tune", "zerolatency",
                        "-crf", "18", "-g", "20", "-f", "mpegts"],
}


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def serve(film, encoding, address):
    slow = str(FILM_PER_S / PICTURES_PER_S)
    return subprocess.Popen(
        ["ffmpeg", "-v", "error", "-nostdin", "-re", "-itsscale", slow, "-i", film,
         "-r", str(PICTURES_PER_S), *encoding, "-listen", "1", address])


def processor_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def watch(program, address, run, minutes):
    with open(f"{run}.log", "w", encoding="utf-8") as log:
        return subprocess.Popen(
            [program, "watch", "--camera", address, "--run", run, "--for", f"{minutes:g}m",
             "--target", "0.5%", "--page", f"127.0.0.1:{free_port()}"], stdout=log, stderr=log)


def result_line(program, name, run, night, core):
    subprocess.run([program, "analyse", run, "--apparatus", night / "apparatus.yaml", "--quiet"],
                   check=True, stdout=subprocess.DEVNULL)
    result = json.loads((Path(run) / "result.json").read_text())
    truth = json.loads((night / "truth.json").read_text())["balance"]
    pulls = {}
    for what, true in (("G", truth["G_m3_per_kg_s2"]), ("shift_mm", truth["shift_mm"])):
        value, u = result[what]["value"], result[what]["u"]
        pulls[what] = (value - true) / u
        print(f"{name}: {what} {value:.6g}, u {u:.2g}, truth {true:.6g}: {pulls[what]:+.2f} u")
    frames = result["frames"]
    print(f"{name}: {sum(frames.values())} lines of the track {frames}, {100 * core:.1f} % of a core")
    return all(abs(pull) <= 3.0 for pull in pulls.values()) and core <= 0.25


def render(build, night, minutes):
    subprocess.run(
        [Path(build) / "demo_video" / "demo_night", "--out", night, "--preset", "ultrafast",
         "--frame-every", f"{1.0 / PICTURES_PER_S}s", "--duration", f"{minutes + 2:g}m",
         "--sides", f"plus@0s,minus@{30.0 * minutes:.0f}s"], check=True)


class Watched:
    """A camera that is served, its watch, and what the watch has used."""

    def __init__(self, program, name, night, folder, minutes):
        self.program, self.name, self.night = program, name, night
        self.run = str(Path(folder) / name.split()[0].lower().replace(".", ""))
        address = f"http://127.0.0.1:{free_port()}/video"
        self.server = serve(night / "night.mp4", CAMERAS[name], address)
        time.sleep(2.0)
        self.begun = time.time()
        self.watching = watch(program, address, self.run, minutes)
        self.core = 0.0
        self.is_marked = False

    def runs(self):
        return self.watching.poll() is None

    def mark(self, side, moment):
        subprocess.run([self.program, "mark", self.run, side, "--at", moment], check=True)

    def look(self, half_s):
        if not self.runs():
            return
        passed_s = time.time() - self.begun
        self.core = processor_s(self.watching.pid) / passed_s
        if passed_s > half_s and not self.is_marked:
            self.mark("minus", datetime.now(timezone.utc).isoformat(timespec="milliseconds"))
            self.is_marked = True

    def is_good(self):
        if self.watching.returncode != 0:
            print(f"{self.name}: the watch ended with {self.watching.returncode}, see {self.run}.log")
            return False
        return result_line(self.program, self.name, self.run, self.night, self.core)

    def end(self):
        for process in (self.watching, self.server):
            if process.poll() is None:
                process.kill()
            process.wait()


def main(build, folder, minutes):
    program = Path(build) / "tracker" / "nightswing"
    night = Path(folder) / "night"
    if not (night / "truth.json").exists():
        render(build, night, minutes)
    here = Path(folder) / datetime.now().strftime("watched_%Y%m%dT%H%M%S")  # a night is watched once
    here.mkdir()
    watched = []
    try:
        for name in CAMERAS:
            watched.append(Watched(program, name, night, here, minutes))
        for one in watched:
            while one.runs() and not (Path(one.run) / "run.yaml").exists():
                time.sleep(0.1)
            if one.runs():
                one.mark("plus", "0s")
        while any(one.runs() for one in watched):
            time.sleep(1.0)
            for one in watched:
                one.look(30.0 * minutes)
        good = [one.is_good() for one in watched]
    finally:
        for one in watched:
            one.end()
    return 0 if all(good) else 1


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2], float(sys.argv[3]) if len(sys.argv) == 4 else 50.0))
