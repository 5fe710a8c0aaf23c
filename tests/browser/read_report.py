"""Reads the report of a night as a person does who points at the chart, and as one without scripts.

    read_report.py ADDRESS

Prints, as JSON, what the legend says of the point in the middle of the chart ("legend"), and which
of the two nights takes up room: the static figure and the chart, with scripts ("static", "chart")
and without ("static_without", "chart_without"). Then how many figures a desk and a phone show in part
("cut_on_desk", "cut_on_phone"), and how many of these say on the phone how to see the rest
("told_on_phone").
"""
import json
import sys

from selenium.common.exceptions import WebDriverException
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from browser import PATIENCE_S, browser


def takes_room(driver, selector):
    """Asked of the document itself: without scripts nothing can be run in the page."""
    root = driver.execute_cdp_cmd("DOM.getDocument", {})["root"]["nodeId"]
    node = driver.execute_cdp_cmd("DOM.querySelector", {"nodeId": root, "selector": selector})
    if node["nodeId"] == 0:
        sys.exit(f"the page has no {selector}")
    try:
        box = driver.execute_cdp_cmd("DOM.getBoxModel", {"nodeId": node["nodeId"]})["model"]
    except WebDriverException:  # there is none for what is not shown
        return False
    return box["width"] > 0 and box["height"] > 0


def figures_in_part(driver, width, height):
    """How many there are, and how many of them say so in their caption."""
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < height})
    return driver.execute_script("""
        const cut = [...document.querySelectorAll('figure')].filter(figure => {
          const box = figure.querySelector('.scroll');
          return box && box.scrollWidth > box.clientWidth + 1; });
        const told = cut.filter(figure => getComputedStyle(figure.querySelector('figcaption'),
                                                           '::after').content.includes('sideways'));
        return [cut.length, told.length];""")


driver = browser()
try:
    driver.set_window_size(1280, 900)
    driver.get(sys.argv[1])
    chart = driver.find_element(By.ID, "zoomable")
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", chart)
    ActionChains(driver).move_to_element(chart).perform()
    legend = WebDriverWait(driver, PATIENCE_S).until(
        lambda d: d.find_element(By.CLASS_NAME, "dygraph-legend").text)
    shown = {"legend": legend,
             "static": takes_room(driver, ".static-night img"),
             "chart": takes_room(driver, "#zoomable")}
    shown["cut_on_desk"], _ = figures_in_part(driver, 1280, 900)
    shown["cut_on_phone"], shown["told_on_phone"] = figures_in_part(driver, 390, 844)
    driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    driver.get(sys.argv[1])
    shown["static_without"] = takes_room(driver, ".static-night img")
    shown["chart_without"] = takes_room(driver, "#zoomable")
    print(json.dumps(shown))
finally:
    driver.quit()
