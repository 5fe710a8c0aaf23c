#!/usr/bin/python3
"""What a watch costs with everything on: 1280x720 at ten pictures a second over HTTP (motion JPEG),
a video of the strip, the live page with a visitor who asks for state, picture and track each second.
Prints processor time, share of one core and memory; ends with 1 above a quarter of a core.
Use: tests/bench/watch_load.py BUILD_FOLDER FOLDER [SECONDS (60)]
"""
import os
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from real_time_night import free_port, processor_s

PICTURES_PER_S = 10


def render(build, film):
    subprocess.run(
        [Path(build) / "demo_video" / "demo_night", "--out", film.parent, "--preset", "ultrafast",
         "--frame-every", f"{1.0 / PICTURES_PER_S}s", "--duration", "2m", "--sides", "plus@0s"], check=True)


def resident_MB(pid):
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def main(build, folder, seconds):
    film = Path(folder) / "load" / "night.mp4"
    if not film.exists():
        render(build, film)
    camera = f"http://127.0.0.1:{free_port()}/video"
    page = free_port()
    run = Path(folder) / time.strftime("load_%Y%m%dT%H%M%S")
    slow = str(25.0 / PICTURES_PER_S)  # the film has 25 a second
    server = subprocess.Popen(
        ["ffmpeg", "-v", "error", "-nostdin", "-re", "-itsscale", slow, "-i", film,
         "-r", str(PICTURES_PER_S), "-c:v", "mjpeg", "-q:v", "3", "-f", "mpjpeg", "-listen", "1", camera])
    time.sleep(2.0)
    watch = subprocess.Popen(
        [Path(build) / "tracker" / "nightswing", "watch", "--camera", camera, "--run", run, "--quiet",
         "--video", "1GB", "--page", f"127.0.0.1:{page}"])
    answers = 0
    try:
        while watch.poll() is None and not (run / "run.yaml").exists():
            time.sleep(0.1)
        begun, used = time.time(), processor_s(watch.pid)
        while watch.poll() is None and time.time() - begun < seconds:
            time.sleep(1.0)
            for what in ("state.json", "picture.jpg", "track.json"):
                with urllib.request.urlopen(f"http://127.0.0.1:{page}/{what}", timeout=10) as answer:
                    answers += len(answer.read()) > 0
        used = processor_s(watch.pid) - used
        passed = time.time() - begun
        memory = resident_MB(watch.pid)
        watch.terminate()
        watch.wait()
    finally:
        for process in (watch, server):
            if process.poll() is None:
                process.kill()
            process.wait()
    share = used / passed
    video_MB = sum(file.stat().st_size for file in (run / "video").iterdir()) / 1e6
    print(f"{used:.1f} s of processor time in {passed:.0f} s: {100 * share:.1f} % of one core, "
          f"{memory:.0f} MB; {answers} answers of the page, {video_MB:.1f} MB of video")
    return 0 if share <= 0.25 and watch.returncode == 0 else 1


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2], float(sys.argv[3]) if len(sys.argv) == 4 else 60.0))
