"""Plays a film in the video element of headless Chromium.

    play_film.py FILM

Prints width, height and duration in seconds as JSON once it has played half a second; exits with 1
and the browser's own words if it cannot. A page of the film's name with .html is left beside it.
"""
import json
import pathlib
import sys

from selenium.webdriver.support.ui import WebDriverWait

from browser import PATIENCE_S, browser

film = pathlib.Path(sys.argv[1]).resolve()
page = film.with_suffix(".html")
page.write_text(f'<!doctype html><video src="{film.name}" muted autoplay></video>',
                encoding="utf-8")
driver = browser()
try:
    driver.get(page.as_uri())
    video = "document.querySelector('video')"
    WebDriverWait(driver, PATIENCE_S).until(lambda d: d.execute_script(
        f"return {video}.error !== null || {video}.currentTime >= 0.5"))
    error = driver.execute_script(f"return {video}.error && {video}.error.message")
    if error is not None:
        sys.exit(f"{film.name} does not play: {error}")
    print(json.dumps(driver.execute_script(
        f"return {{width: {video}.videoWidth, height: {video}.videoHeight,"
        f" duration: {video}.duration}}")))
finally:
    driver.quit()
