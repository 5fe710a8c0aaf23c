"""Notes on the live page of a watch, by a click, that the sources are at minus.

    mark_side.py ADDRESS

Prints what the page says to it; exits with 1 if it says nothing in time or a script fails.
"""
import sys

from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from browser import PATIENCE_S, browser

driver = browser()
try:
    driver.get(sys.argv[1])
    driver.find_element(By.CSS_SELECTOR, "#mark summary").click()
    driver.find_element(By.CSS_SELECTOR, "[data-side=minus]").click()
    outcome = driver.find_element(By.ID, "mark-outcome")
    WebDriverWait(driver, PATIENCE_S).until(lambda d: outcome.text)
    print(outcome.text)
    faults = [entry["message"] for entry in driver.get_log("browser")]
    if faults:
        sys.exit("\n".join(faults))
finally:
    driver.quit()
