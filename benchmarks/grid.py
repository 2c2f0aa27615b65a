"""Opens a table of 20,000 rows and 35 columns as a grid in Chromium and scrolls it.

Processor seconds of the page's main thread, so that what else runs on the machine counts less; the
frames are of software drawing without a window, and wait for whatever else runs.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from playwright.sync_api import sync_playwright

from tests.desk.grid_server import COLUMNS, Desk, column, serving, some_rows

ROWS, WIDE, TIMES = 20_000, 35, 5
WINDOW: Any = {"width": 1280, "height": 900}
SWEEP = """async () => {
  const part = document.querySelector('revogr-viewport-scroll.rgCol .vertical-inner');
  const top = part.scrollHeight - part.clientHeight;
  const frames = [];
  let last = performance.now();
  for (let step = 0; step <= 120; step++) {
    part.scrollTop = top * step / 120;
    await new Promise(requestAnimationFrame);
    frames.push(performance.now() - last);
    last = performance.now();
  }
  return frames.sort((a, b) => a - b);
}"""
SAVES = """() => {
  const said = document.getElementById('said');
  addEventListener('keydown', (event) => {
    if (event.key === 'Enter') window.entered = performance.now();
  }, true);
  new MutationObserver(() => {
    if (said.textContent.startsWith('Saved')) window.saved = performance.now() - entered;
  }).observe(
    said, {childList: true});
}"""


def main() -> None:
    more = WIDE - len(COLUMNS)
    columns = [*COLUMNS, *(column(f"more_{n}", f"More {n}") for n in range(more))]
    rows = [[*row, *(f"{row[0]} {n}" for n in range(more))] for row in some_rows(ROWS)]
    chromium = shutil.which("chromium")
    if chromium is None:
        raise SystemExit("Chromium is not installed (Debian: apt-get install chromium)")
    with serving(Desk(rows, columns)) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        opened = [measured(browser.new_page(viewport=WINDOW), address) for _ in range(TIMES)]
        for name in opened[0]:
            print(f"{name:34} {statistics.median(one[name] for one in opened):8.3f}")
        browser.close()


def measured(page: Any, address: str, column: int = 6) -> dict[str, float]:
    """A table opened in a page, swept over its whole height, and one cell edited."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def busy() -> float:
        metrics = session.send("Performance.getMetrics")["metrics"]
        return float(next(one["value"] for one in metrics if one["name"] == "TaskDuration"))

    begun = time.perf_counter()
    page.goto(address)
    page.wait_for_selector("revo-grid .rgCell")
    found = {"first rows, s elapsed": time.perf_counter() - begun, "first rows, CPU s": busy()}
    before = busy()
    frames = page.evaluate(SWEEP)
    found["sweep of 120 jumps, CPU s"] = busy() - before
    found["frame of the sweep, median ms"] = frames[len(frames) // 2]
    found["frame of the sweep, slowest ms"] = frames[-1]
    page.evaluate(SAVES)
    page.locator(f"revogr-data [data-rgcol='{column}']").first.click()
    page.keyboard.type(f"sawn {begun}")
    page.keyboard.press("Enter")
    page.wait_for_function("() => window.saved")
    found["Enter to 'Saved', ms"] = page.evaluate("saved")
    page.close()
    return found


if __name__ == "__main__":
    main()
