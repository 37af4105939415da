"""A browser page that tells on everything that went wrong in it: see ``Watched.faults``."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PATIENCE_MS = 30_000
ARGUMENTS = [
    "--no-sandbox",
    # The network is cut: no name leads anywhere, and no address but this laptop's is reached.
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
    "--disable-background-networking",
]

AT_REST = """
() => {
  const still = document.querySelector('.stApp')?.dataset.testScriptState === 'notRunning'
    && !document.querySelector('[data-stale="true"]');
  window.atRest = still ? (window.atRest || 0) + 1 : 0;
  return window.atRest >= 4;
}
"""
"""Nothing runs and nothing is stale at four looks in a row."""

CUT_OFF = """
() => {
  const found = [];
  for (const e of document.querySelectorAll('.stMain *, header *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own) continue;
    const style = getComputedStyle(e);
    const box = e.getBoundingClientRect();
    if (style.visibility === 'hidden' || !box.width || !box.height) continue;
    if (box.width <= 1 || box.height <= 1) continue;  // for screen readers only
    const hides = s => s === 'hidden' || s === 'clip';
    const wide = e.scrollWidth > e.clientWidth + 1 && hides(style.overflowX);
    const high = e.scrollHeight > e.clientHeight + 2 && hides(style.overflowY);
    let scrolls = false;  // a wide table scrolls within its own frame
    for (let up = e.parentElement; up && !up.matches('.stMain'); up = up.parentElement)
      scrolls ||= ['auto', 'scroll'].includes(getComputedStyle(up).overflowX);
    const beyond = box.right > document.documentElement.clientWidth + 1 && !scrolls;
    if (e.clientWidth && (wide || high) || beyond)
      found.push((beyond ? 'beyond the edge: ' : 'cut off: ') + e.textContent.trim().slice(0, 80));
  }
  return [...new Set(found)];
}
"""

SMALL_OR_FAINT = """
() => {
  const found = [];
  const numbers = s => s.match(/[\\d.]+/g).map(Number);
  const light = c => {
    const [r, g, b] = c.map(v => v / 255).map(
      v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  for (const e of document.querySelectorAll('.stMain *, header *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || e.closest('.js-plotly-plot, [data-testid="stIconMaterial"]')) continue;
    const style = getComputedStyle(e);
    const box = e.getBoundingClientRect();
    if (style.visibility === 'hidden' || box.width <= 1 || box.height <= 1) continue;
    let paper = [255, 255, 255], opaque = 1;
    for (let up = e; up; up = up.parentElement) {
      const below = numbers(getComputedStyle(up).backgroundColor);
      opaque *= Number(getComputedStyle(up).opacity);
      if (below.length < 4 || below[3] > 0.5) { paper = below.slice(0, 3); break; }
    }
    const [r, g, b, alpha = 1] = numbers(style.color);
    const ink = [r, g, b].map((v, i) => v * alpha * opaque + paper[i] * (1 - alpha * opaque));
    const [dark, bright] = [light(ink), light(paper)].sort((one, other) => one - other);
    const size = parseFloat(style.fontSize), contrast = (bright + 0.05) / (dark + 0.05);
    if (size < 15.9 || contrast < 7)
      found.push(`${size} px, ${contrast.toFixed(1)} to 1: ${e.textContent.trim().slice(0, 60)}`);
  }
  return [...new Set(found)];
}
"""


@dataclass
class Watched:
    """A page, and what it did that it may not."""

    page: Page
    address: str
    faults: list[str] = field(default_factory=list)

    def settle(self) -> None:
        """Wait until the page is drawn and nothing runs any more."""
        page = self.page
        page.wait_for_selector(".stApp", timeout=PATIENCE_MS)
        # A press reaches the server a moment later: one look at rest may be a look at the page
        # before it.
        page.evaluate("() => { window.atRest = 0; }")
        page.wait_for_function(AT_REST, polling=60, timeout=PATIENCE_MS)

    def open(self) -> Watched:
        """Open the first page."""
        self.page.goto(self.address)
        self.settle()
        return self

    def go(self, name: str) -> None:
        """Go to a page by its name in the row of pages."""
        link = self.page.get_by_test_id("stTopNavLink").filter(has_text=name)
        link.click()
        link.and_(self.page.locator("[aria-current=page]")).wait_for()
        self.settle()

    def refuse_cut_off(self) -> None:
        """Note each text that is cut off, or leaves the screen."""
        self.faults += self.page.evaluate(CUT_OFF)

    def refuse_small_or_faint(self) -> None:
        """Note each text that can't be read in the sun: below 16 px, or below 7 to 1."""
        self.faults += self.page.evaluate(SMALL_OR_FAINT)


@contextmanager
def watched(
    browser: Browser, address: str, width: int = 1366, height: int = 768
) -> Iterator[Watched]:
    """Open a browser window; at the end nothing may have gone wrong in it."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, accept_downloads=True
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    found = Watched(page, address)

    def asked(url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname != "127.0.0.1":
            found.faults.append(f"a request left: {url}")

    page.on("request", lambda request: asked(request.url))
    page.on("websocket", lambda socket: asked(socket.url))
    page.on("pageerror", lambda error: found.faults.append(f"script: {error}"))
    page.on(
        "console",
        lambda said: found.faults.append(f"console: {said.text}") if said.type == "error" else None,
    )
    try:
        yield found
        found.refuse_cut_off()
    finally:
        context.close()
    assert not found.faults, "\n".join(found.faults)
