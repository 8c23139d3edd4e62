"""A headless Chromium for tests, one for all of them."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

HELP = (
    "the sheet's tests need Chromium and its driver: `apt-get install chromium chromium-driver`, "
    "or set CHROMIUM and CHROMEDRIVER to where they are"
)


def program(name: str, variable: str) -> str:
    """Where a program is; a test that needs it fails with what to do when it is nowhere."""
    found = os.environ.get(variable) or shutil.which(name)
    if not found or not Path(found).exists():
        raise AssertionError(f"{name} was not found: {HELP}")
    return found


def open_browser() -> webdriver.Chrome:
    """A browser that reaches nothing but the files it is given, and keeps its console's log."""
    options = webdriver.ChromeOptions()
    options.binary_location = program("chromium", "CHROMIUM")
    home = tempfile.mkdtemp(prefix="soilflow-browser-")
    for flag in (
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        f"--user-data-dir={home}",
        "--window-size=1280,1400",
    ):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = Service(program("chromedriver", "CHROMEDRIVER"))
    return webdriver.Chrome(options=options, service=service)
