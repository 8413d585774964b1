"""How a page of very many pictures feels: what of its work takes longer than a person notices.

Run: python tests/studies/page_work.py [pictures]. Wants Chromium and its driver. Long tasks are those of 50 ms and more
that the browser itself reports (W3C Long Tasks API); frames are counted while the page scrolls from end to end.
Found with 200 pictures on two busy cores: opening 7.8 MB takes three such tasks of 54 to 67 ms, scrolling from end to
end two of 51 and 67 ms, searching and filtering none.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from browser import Browser, browser
from pages import run_page

WATCH = """
window.long = [];
new PerformanceObserver((list) => long.push(...list.getEntries().map((e) => Math.round(e.duration))))
  .observe({ type: "longtask", buffered: true });
"""
SCROLL = """
return new Promise((done) => {
  const gaps = [];
  let last = performance.now();
  const step = (now) => {
    gaps.push(now - last);
    last = now;
    scrollBy(0, 120);
    const end = scrollY + innerHeight >= document.documentElement.scrollHeight - 1;
    if (end || gaps.length > 600) done([gaps.length, gaps.filter((g) => g > 50).length, Math.max(...gaps)]);
    else requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
});
"""
SEARCH = """
search.value = arguments[0];
search.dispatchEvent(new Event("input"));
return new Promise((done) => requestAnimationFrame(() => setTimeout(done, 0)));
"""


def told(window: Browser, what: str) -> None:
    window.run("return new Promise((done) => setTimeout(done, 200))")
    print(f"{what:28s} tasks of 50 ms and more: {window.run('return long.splice(0)')}")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        page.write_text(run_page(count), encoding="utf-8")
        with browser(Path(folder) / "profile") as window:
            window.resize(1440, 900)
            window.open(page)
            window.run(WATCH)
            told(window, f"opening {page.stat().st_size / 1e6:.1f} MB")
            frames, late, worst = window.run(SCROLL)
            told(window, "scrolling through")
            print(f"{'':28s} frames {frames:.0f}, of 50 ms and more {late:.0f}, the worst {worst:.0f} ms")
            for letters in ("1", "19", "199", ""):
                window.run(SEARCH, letters)
            told(window, "four searches")
            for chip in window.run("return [...document.querySelectorAll('[data-filter]')].map((c) => c.click())"):
                assert chip is None
            told(window, "every filter")
            window.click("#sheet li:not([hidden]) .card")
            for key in ("3", "z", "4", "5", "0", "\ue014"):
                window.press(key)
            told(window, "viewer, six keys")


if __name__ == "__main__":
    main()
