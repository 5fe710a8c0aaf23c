"""Zooms into the chart of a live page with the mouse and out again, as a person would.

    zoom_chart.py ADDRESS

Prints, as JSON, the numbers along the time axis before, zoomed, some answers of the program later,
and after the double click that shows the whole again. Exits with 1 if a script fails.
"""
import json
import sys

from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from browser import PATIENCE_S, browser


def times(driver):
    return driver.execute_script(
        "return Array.from(document.querySelectorAll('#chart .dygraph-axis-label-x'))"
        ".map(label => Number(label.textContent))")


def pictures(driver):
    return driver.execute_script(
        "return performance.getEntriesByType('resource')"
        ".filter(one => one.name.includes('track.json')).length")


driver = browser()
try:
    driver.set_window_size(1280, 900)
    driver.get(sys.argv[1])
    patience = WebDriverWait(driver, PATIENCE_S)
    patience.until(lambda d: len(times(d)) > 1)
    shown = {"before": times(driver)}
    # Two canvases lie on each other, the upper one hears the mouse; below are those of the handles.
    chart = driver.execute_script(
        "const all = Array.from(document.querySelectorAll('#chart canvas'));"
        "const height = Math.max(...all.map(one => one.offsetHeight));"
        "return all.filter(one => one.offsetHeight === height).pop()")
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", chart)
    width = chart.size["width"]
    ActionChains(driver).move_to_element_with_offset(chart, -0.1 * width, 0).click_and_hold() \
        .move_by_offset(0.1 * width, 0).move_by_offset(0.1 * width, 0).release().perform()
    patience.until(lambda d: times(d) != shown["before"])
    shown["zoomed"] = times(driver)
    answers = pictures(driver)
    patience.until(lambda d: pictures(d) >= answers + 2)
    shown["later"] = times(driver)
    ActionChains(driver).double_click(chart).perform()
    patience.until(lambda d: times(d) != shown["later"])
    shown["whole"] = times(driver)
    shown["estimate"] = driver.find_element(By.ID, "estimate").text
    print(json.dumps(shown))
    faults = [entry["message"] for entry in driver.get_log("browser")]
    if faults:
        sys.exit("\n".join(faults))
finally:
    driver.quit()
