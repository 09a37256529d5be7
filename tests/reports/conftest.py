"""A real browser for the pages, where there is one."""

import os
import shutil

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def browser():
    """Headless Chromium; CI names it in PINCHLINE_BROWSER and may not do without."""
    asked = os.environ.get("PINCHLINE_BROWSER")
    found = asked or next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        pytest.skip("no Chromium here: `apt-get install chromium` brings one")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        launched = driver.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu"]
        )
        yield launched
        launched.close()
