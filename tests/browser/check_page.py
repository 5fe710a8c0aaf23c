"""Opens a page in a real browser (headless Chromium) as a desk and a phone show it, light and dark.

    check_page.py AXE_JS ADDRESS [--out FOLDER] [--ready EXPRESSION]

Exits with 1 and a line for each of these: an error of a script, a request that leaves the page's
own origin, a page wider than the screen, and what the accessibility checker axe-core finds against
WCAG 2.1 A and AA (contrast, alternative texts, labels, landmarks). Screenshots and the page as it
prints on A4 go to FOLDER. EXPRESSION, in JavaScript, is waited for to be true.
"""
import argparse
import base64
import json
import pathlib
import sys
from urllib.parse import urlsplit

from selenium.webdriver.common.print_page_options import PrintOptions
from selenium.webdriver.support.ui import WebDriverWait

from browser import PATIENCE_S, browser

SCREENS = {"desk": (1280, 900), "phone": (390, 844)}
COLOURS = ("light", "dark")


def origin(address):
    parts = urlsplit(address)
    return (parts.scheme, parts.netloc) if parts.scheme != "file" else (parts.scheme, parts.path)


def requests_elsewhere(driver, address):
    found = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] != "Network.requestWillBeSent":
            continue
        url = message["params"]["request"]["url"]
        if urlsplit(url).scheme in ("data", "blob", "about", "chrome"):
            continue
        if origin(url) != origin(address):
            found.append(f"asks for {url}")
    return found


def violations(driver, axe):
    driver.execute_script(axe)
    result = driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})"
        ".then(r => done({passes: r.passes.length, violations: r.violations}),"
        "      e => done({passes: 0, violations: [], error: String(e)}));")
    found = [f"axe {v['id']}: {v['help']}: {n['html'][:160]}: {n['failureSummary']}"
             for v in result["violations"] for n in v["nodes"]]
    if result["passes"] == 0:  # a checker that checked nothing must not pass for a clean page
        found.append(f"axe checked nothing {result.get('error', '')}")
    return found


def look(driver, arguments, axe, screen, colours):
    width, height = SCREENS[screen]
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": width, "height": height, "deviceScaleFactor": 1, "mobile": screen == "phone"})
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {
        "features": [{"name": "prefers-color-scheme", "value": colours}]})
    driver.get(arguments.address)
    WebDriverWait(driver, PATIENCE_S).until(
        lambda d: d.execute_script(f"return Boolean({arguments.ready})"))
    found = [f"script: {entry['message']}" for entry in driver.get_log("browser")
             if entry["level"] == "SEVERE"]
    found += requests_elsewhere(driver, arguments.address)
    wide = driver.execute_script("return document.documentElement.scrollWidth")
    if wide > width:
        found.append(f"is {wide} px wide on a screen of {width} px")
    found += violations(driver, axe)
    if arguments.out:
        picture = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
        (arguments.out / f"{screen}_{colours}.png").write_bytes(base64.b64decode(picture["data"]))
    return [f"{screen}, {colours}: {fault}" for fault in found]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("axe", type=pathlib.Path)
    parser.add_argument("address")
    parser.add_argument("--out", type=pathlib.Path)
    parser.add_argument("--ready", default="document.readyState == 'complete'")
    arguments = parser.parse_args()
    axe = arguments.axe.read_text(encoding="utf-8")
    if arguments.out:
        arguments.out.mkdir(parents=True, exist_ok=True)
    driver = browser()
    try:
        faults = [fault for screen in SCREENS for colours in COLOURS
                  for fault in look(driver, arguments, axe, screen, colours)]
        a4 = PrintOptions()
        a4.page_width, a4.page_height = 21.0, 29.7  # cm
        pdf = base64.b64decode(driver.print_page(a4))
    finally:
        driver.quit()
    if arguments.out:
        (arguments.out / "printed.pdf").write_bytes(pdf)
    print("\n".join(faults))
    sys.exit(1 if faults else 0)


main()
