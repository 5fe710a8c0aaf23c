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
    log = open(f"{run}.log", "w", encoding="utf-8")
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


def main(build, folder, minutes):
    program = Path(build) / "tracker" / "nightswing"
    night = Path(folder) / "night"
    if not (night / "truth.json").exists():
        render(build, night, minutes)
    watches = {}
    for name, encoding in CAMERAS.items():
        address = f"http://127.0.0.1:{free_port()}/video"
        server = serve(night / "night.mp4", encoding, address)
        time.sleep(2.0)
        run = str(Path(folder) / name.split()[0].lower().replace(".", ""))
        watches[name] = (server, watch(program, address, run, minutes), run)
    begun = time.time()
    used = {}
    for _, watching, run in watches.values():
        while watching.poll() is None and not (Path(run) / "run.yaml").exists():
            time.sleep(0.1)
        subprocess.run([program, "mark", run, "plus", "--at", "0s"], check=True)
    marked = False
    while any(watching.poll() is None for _, watching, _ in watches.values()):
        time.sleep(1.0)
        for name, (_, watching, run) in watches.items():
            if watching.poll() is None:
                used[name] = processor_s(watching.pid) / (time.time() - begun)
            if not marked and time.time() - begun > 30.0 * minutes:
                now = datetime.now(timezone.utc).isoformat(timespec="milliseconds")
                subprocess.run([program, "mark", run, "minus", "--at", now], check=True)
        marked = marked or time.time() - begun > 30.0 * minutes
    good = True
    for name, (server, watching, run) in watches.items():
        server.kill()
        server.wait()
        good = watching.returncode == 0 and result_line(program, name, run, night, used[name]) and good
    return 0 if good else 1


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2], float(sys.argv[3]) if len(sys.argv) == 4 else 50.0))
