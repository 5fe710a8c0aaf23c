#!/usr/bin/env python3
"""Opens the live pages of `watch` and `aim` in Chromium (packages chromium, chromium-driver), by the
WebDriver protocol: desktop and phone width, light and dark, with screenshots to look at. Checks that
the scripts run without errors, that no request leaves this machine, that nothing is wider than the
screen, and that a mark set by a click stands in the log. The camera is the demo night served by
ffmpeg. Ends with 1 if anything was wrong.

page_in_browser.py BUILD_FOLDER PICTURES_FOLDER
"""
import base64
import json
import pathlib
import re
import socket
import subprocess
import sys
import time
import urllib.request

build, pictures = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
root = pathlib.Path(__file__).resolve().parents[2]
pictures.mkdir(parents=True, exist_ok=True)
faults = []


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def wait_for(what, seconds=60):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            found = what()
        except OSError:
            found = None
        if found:
            return found
        time.sleep(0.2)
    sys.exit(f"waited {seconds} s in vain")


class Browser:
    def __init__(self):
        port = free_port()
        self.driver = subprocess.Popen(["chromedriver", f"--port={port}"], stdout=subprocess.DEVNULL)
        self.base = f"http://127.0.0.1:{port}"
        wait_for(lambda: self.call("GET", "/status")["ready"])
        options = {
            "args": ["--headless=new", "--no-sandbox", "--hide-scrollbars",
                     "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"],
            "perfLoggingPrefs": {"enableNetwork": True},
        }
        session = self.call("POST", "/session", {"capabilities": {"alwaysMatch": {
            "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"}}}})
        self.base += "/session/" + session["sessionId"]

    def call(self, method, path, data=None):
        request = urllib.request.Request(
            self.base + path, method=method,
            data=json.dumps(data).encode() if data is not None else None)
        with urllib.request.urlopen(request, timeout=120) as response:
            return json.load(response)["value"]

    def cdp(self, command, **parameters):
        return self.call("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def script(self, text):
        return self.call("POST", "/execute/sync", {"script": text, "args": []})

    def log(self, kind):
        return self.call("POST", "/se/log", {"type": kind})

    def picture(self, path):
        height = self.script("return document.documentElement.scrollHeight")
        width = self.script("return window.innerWidth")
        data = self.cdp("Page.captureScreenshot", captureBeyondViewport=True,
                        clip={"x": 0, "y": 0, "width": width, "height": height, "scale": 1})
        path.write_bytes(base64.b64decode(data["data"]))

    def close(self):
        self.call("DELETE", "")
        self.driver.kill()


def check_logs(browser, origin, name):
    for entry in browser.log("browser"):
        faults.append(f"{name}: the browser says: {entry['message']}")
    asked = set()
    for entry in browser.log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.add(message["params"]["request"]["url"])
    strangers = [url for url in asked if not url.startswith((origin, "data:", "about:"))]
    if strangers:
        faults.append(f"{name}: requests elsewhere: {strangers}")
    if not any("state.json" in url for url in asked):
        faults.append(f"{name}: the page asked for nothing")


def look(browser, url, name, ready, use=None):
    """At four looks of one page; `use` is done in the first."""
    origin = re.match(r"http://[^/]+", url)[0]
    for width, height in ((1280, 800), (390, 844)):
        for scheme in ("light", "dark"):
            browser.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height,
                        deviceScaleFactor=1, mobile=width < 600)
            browser.cdp("Emulation.setEmulatedMedia",
                        features=[{"name": "prefers-color-scheme", "value": scheme}])
            browser.call("POST", "/url", {"url": url})
            wait_for(lambda: browser.script(ready))
            if use:
                use(browser)
                use = None
            time.sleep(2.5)
            wide = browser.script("return document.documentElement.scrollWidth")
            if wide > width:
                faults.append(f"{name} at {width} px is {wide} px wide")
            browser.picture(pictures / f"{name}-{width}-{scheme}.png")
            browser.call("POST", "/url", {"url": "about:blank"})
            check_logs(browser, origin, f"{name} {width} {scheme}")


def served(address):
    film = root / "demo_video/night/night.mp4"
    return subprocess.Popen(["ffmpeg", "-v", "quiet", "-nostdin", "-re", "-stream_loop", "-1", "-i",
                             film, "-c:v", "mjpeg", "-q:v", "3", "-f", "mpjpeg", "-listen", "1",
                             address])


def started(command, *words):
    """The program at a camera, and where its page is."""
    address = f"http://127.0.0.1:{free_port()}/video"
    camera = served(address)
    log = pictures / f"{command}.log"
    end = time.monotonic() + 30
    while True:  # ffmpeg may not listen yet
        with log.open("w") as out:
            program = subprocess.Popen(
                [build / "tracker/nightswing", command, "--camera", address, "--page",
                 str(free_port()), *words], stdout=out, stderr=out)
        wait_for(lambda: "live page:" in log.read_text() or program.poll() is not None)
        time.sleep(1)
        if program.poll() is None:
            return camera, program, re.search(r"live page: (\S+)", log.read_text())[1]
        if time.monotonic() > end:
            sys.exit(log.read_text())


def press_minus(browser):
    browser.script("document.querySelector('#mark summary').click()")
    browser.script("document.querySelector('[data-side=minus]').click()")
    wait_for(lambda: browser.script(
        "return document.getElementById('mark-outcome').textContent").startswith("Noted"))


run = pictures / "run"
subprocess.run(["rm", "-rf", run], check=True)
browser = Browser()
picture_there = "return document.getElementById('picture').naturalWidth > 0"
for command, words, ready, use in (
        ("watch", ["--run", run, "--for", "1h"],
         picture_there + " && document.querySelector('#chart canvas') !== null", press_minus),
        ("aim", [], picture_there + " && document.querySelectorAll('dd').length > 4", None)):
    camera, program, url = started(command, *words)
    try:
        look(browser, url, command, ready, use)
    finally:
        program.terminate()
        program.wait()
        camera.kill()
browser.close()
if ",side,minus" not in (run / "events.csv").read_text():
    faults.append("the mark does not stand in events.csv")
for fault in faults:
    print(fault)
print(f"{len(faults)} faults; pictures in {pictures}")
sys.exit(1 if faults else 0)
