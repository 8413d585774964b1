"""The page to look at, in a real browser at desktop and phone width, with two hundred pictures."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import LACKING, Browser, browser
from pages import SIZE, gallery, run_page

needs_browser = pytest.mark.skipif(LACKING is not None, reason=str(LACKING))
SHOTS = Path(__file__).parents[2] / "outputs" / "pages"
"""Where screenshots are left, to be looked at."""

ESCAPE, ENTER, LEFT, RIGHT, TAB, SHIFT = "\ue00c", "\ue007", "\ue012", "\ue014", "\ue004", "\ue008"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    (folder / "run.html").write_text(run_page(24), encoding="utf-8")
    (folder / "many.html").write_text(run_page(200), encoding="utf-8")
    (folder / "gallery.html").write_text(gallery(5), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    # No name resolves: whatever the page asks of a network would be a complaint.
    with browser(tmp_path_factory.mktemp("profile"), "--host-resolver-rules=MAP * ~NOTFOUND") as opened:
        yield opened


@pytest.fixture
def run(window: Browser, pages: Path) -> Browser:
    window.resize(1400, 900)
    window.open(pages / "run.html")
    window.wait("return document.querySelectorAll('.thumb')[0].naturalWidth > 0")
    return window


def visible(window: Browser) -> int:
    return window.run("return document.querySelectorAll('#sheet li:not([hidden])').length")


def viewed(window: Browser) -> str:
    return window.run("return document.getElementById('viewed').textContent")


def test_one_file_that_asks_nothing_of_a_network(pages: Path) -> None:
    text = (pages / "run.html").read_text(encoding="utf-8")
    without = re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]*", "", text)
    assert not re.search(r"https?://|src=.?[\"']?//|@import|url\(|<link", without)
    assert "terrace &lt;b&gt;&amp;" in text and "<b>" not in text


@needs_browser
def test_no_complaints(run: Browser) -> None:
    run.click(".card")
    run.press("3", "4", "5", "o", "w", RIGHT, LEFT, ESCAPE)
    assert run.complaints() == []


@needs_browser
def test_search_and_filters(run: Browser) -> None:
    assert visible(run) == 24
    run.click("[data-filter='differs']")
    assert 0 < visible(run) < 24
    assert run.run(
        "return [...document.querySelectorAll('#sheet li:not([hidden])')].every(i => i.dataset.status === 'differs')"
    )
    run.click("[data-filter='']")
    run.press("/", *"lower chair")
    assert 0 < visible(run) < 24
    run.press(*" nowhere")
    assert visible(run) == 0 and run.run("return !document.getElementById('empty').hidden")


@needs_browser
def test_viewer_by_keyboard_alone(run: Browser) -> None:
    run.run("document.querySelector('.card').focus()")
    run.press(ENTER)
    first = viewed(run)
    assert run.run("return document.getElementById('viewer').open") and first
    assert "lounge-chair contact 14 px lower" in run.run("return document.getElementById('side').textContent")
    run.press(RIGHT)
    assert viewed(run) != first
    run.press(LEFT)
    assert viewed(run) == first
    run.press(ESCAPE)
    assert not run.run("return document.getElementById('viewer').open")
    assert run.run("return document.activeElement.className") == "card"


@needs_browser
def test_wipe_blink_difference_overlay_and_worst_place(run: Browser) -> None:
    run.click(".card")
    run.press("3")
    assert run.run("return above.hidden") is False
    assert run.run("return above.style.clipPath") == "inset(0px 50% 0px 0px)"
    run.run("wipe.value = 250; wipe.dispatchEvent(new Event('input'))")
    assert run.run("return above.style.clipPath") == "inset(0px 75% 0px 0px)"
    run.drag("#frame", 0.75)
    assert run.run("return Number(wipe.value)") == pytest.approx(750, abs=5)
    run.run("wipe.focus()")
    name = viewed(run)
    run.press(RIGHT)
    assert viewed(run) == name and run.run("return Number(wipe.value)") > 745
    new, approved = run.run("return [below.src, above.src]")
    assert new != approved
    run.press("4")
    run.wait("return above.hidden")
    run.wait("return !above.hidden")
    run.press("5")
    assert run.run("return [above.hidden, below.src]") != [False, new] and run.run("return below.src") != approved
    run.press("o")
    assert run.run("return document.getElementById('top').hidden") is False
    box = run.run("return [place.hidden, place.offsetWidth / frame.clientWidth]")
    assert box[0] is False and box[1] == pytest.approx(70 / 480, abs=0.01)
    run.press("w")
    assert run.run("return place.hidden") is True


def zoom(window: Browser) -> float:
    """Screen pixels for each of the picture's."""
    return window.run("return frame.clientWidth") / SIZE[0]


@needs_browser
@pytest.mark.parametrize("mode", ["1", "2", "3", "4", "5"])
def test_one_to_one_and_larger_in_every_mode(run: Browser, mode: str) -> None:
    run.resize(390, 844)  # narrower than the picture: its whole is smaller than 1:1
    run.click("[data-filter='differs']")
    run.click("#sheet li:not([hidden]) .card")
    run.press(mode, "o")
    assert zoom(run) < 0.9 and run.run("return document.getElementById('scale').textContent").endswith(" %")
    run.press("z")
    assert zoom(run) == 1 and pressed(run, "actual") and not pressed(run, "whole")
    box = run.run(
        "const a = place.getBoundingClientRect(), b = field.getBoundingClientRect();"
        "return [a.left >= b.left - 2, a.right <= b.right + 2, a.width]"
    )
    assert box[:2] == [True, True] and box[2] == pytest.approx(70, abs=3)  # the worst place is in sight
    run.press("+")
    assert zoom(run) == 2
    assert run.run("return [...frame.querySelectorAll('img:not([hidden])')].every(i => i.classList.contains('coarse'))")
    run.press("-", "-")
    assert zoom(run) < 0.9 and pressed(run, "whole")


def pressed(window: Browser, button: str) -> bool:
    return bool(window.run("return document.getElementById(arguments[0]).ariaPressed === 'true'", button))


@needs_browser
def test_a_large_picture_is_moved_by_dragging_and_by_keys(run: Browser) -> None:
    run.click(".card")
    run.press("z", "+", "+")
    assert zoom(run) == 4
    left, width = run.run("return [frame.offsetLeft, field.clientWidth]")
    run.drag("#field", 0.4)
    assert run.run("return frame.offsetLeft") == pytest.approx(left - 0.1 * width, abs=2)
    run.press("0", "4", "z", "+", "+")
    left = run.run("return frame.offsetLeft")
    shift = {
        "type": "key",
        "id": "keys",
        "actions": [
            {"type": "keyDown", "value": SHIFT},
            {"type": "keyDown", "value": RIGHT},
            {"type": "keyUp", "value": RIGHT},
            {"type": "keyUp", "value": SHIFT},
        ],
    }
    run.call("POST", "/actions", {"actions": [shift]})
    assert run.run("return frame.offsetLeft") == pytest.approx(left - width / 8, abs=2)
    assert run.run("return document.getElementById('side').textContent").count("Shift with arrows") == 1
    for _ in range(30):
        run.call("POST", "/actions", {"actions": [shift]})
    assert run.run("return frame.offsetLeft + frame.clientWidth") == pytest.approx(width, abs=1)  # and no farther


@needs_browser
def test_the_wipe_stays_in_sight_however_large_the_picture_is(run: Browser) -> None:
    run.click(".card")
    run.press("3", "z", "+", "+")
    edge = "return edge.getBoundingClientRect().left - field.getBoundingClientRect().left"
    width = run.run("return field.clientWidth")
    assert run.run(edge) == pytest.approx(width / 2, abs=2)
    run.drag("#field", 0.7, start=0.9)  # beside the wipe: the picture moves, the wipe stays
    assert run.run(edge) == pytest.approx(width / 2, abs=2)
    run.drag("#field", 0.7)  # on it: it follows
    assert run.run(edge) == pytest.approx(width * 0.7, abs=2)


@needs_browser
def test_two_fingers_enlarge(run: Browser) -> None:
    run.resize(390, 844)
    run.click(".card")
    before = zoom(run)
    run.spread("#field", 0.2, 0.6)
    assert zoom(run) == pytest.approx(before * 3, rel=0.05)


@needs_browser
def test_focus_is_seen(run: Browser) -> None:
    run.press(TAB, TAB)
    assert run.run("return getComputedStyle(document.activeElement).outlineStyle") == "solid"
    run.click(".card")
    for _ in range(14):
        run.press(TAB)
        seen = run.run(
            "const s = getComputedStyle(document.activeElement); return [document.activeElement.id, s.outlineStyle]"
        )
        assert seen[1] != "none" or seen[0] == "viewer", seen


@needs_browser
def test_what_is_not_there_is_not_offered(run: Browser) -> None:
    run.click("[data-filter='missing']")
    run.click("#sheet li:not([hidden]) .card")
    disabled = run.run("return [...document.querySelectorAll('[data-mode]')].map(b => b.disabled)")
    assert disabled == [False, True, True, True, True]


@needs_browser
@pytest.mark.parametrize(("name", "width", "height"), [("desktop", 1400, 900), ("phone", 390, 844)])
def test_nothing_sticks_out(window: Browser, pages: Path, name: str, width: int, height: int) -> None:
    window.resize(width, height)
    window.open(pages / "run.html")
    window.wait("return document.querySelectorAll('.thumb')[0].naturalWidth > 0")
    assert window.run("return document.documentElement.scrollWidth") <= width
    window.screenshot(SHOTS / f"sheet-{name}.png")
    window.click(".card")
    window.press("3")
    window.wait("return below.complete && above.complete")
    assert window.run("return frame.getBoundingClientRect().right") <= width
    assert window.run("return frame.clientWidth / frame.clientHeight") == pytest.approx(1.5, abs=0.02)
    assert window.run("return viewer.scrollWidth") <= width
    assert window.run("return getComputedStyle(document.querySelector('.thumb')).height.replace('px', '') * 1.5") == (
        pytest.approx(window.run("return document.querySelector('.thumb').clientWidth"), abs=1)
    )
    window.screenshot(SHOTS / f"viewer-{name}.png")


@needs_browser
def test_dark_and_light(run: Browser) -> None:
    ground = "return getComputedStyle(document.body).backgroundColor"
    before = run.run(ground)
    run.click("#light")
    after = run.run(ground)
    assert before != after
    run.screenshot(SHOTS / "sheet-dark.png")
    for ink in ("ink", "quiet", "differs", "match", "other"):
        for light in ("yes", "no"):
            assert min(contrast(run, (ink, ground), light) for ground in ("sheet", "ground")) >= 4.5, (ink, light)


def contrast(window: Browser, names: tuple[str, str], light: str) -> float:
    """Contrast ratio of two of the page's colours (WCAG 2.2, definition of contrast ratio)."""
    window.run("document.documentElement.dataset.light = arguments[0]", light)
    script = "return getComputedStyle(document.documentElement).getPropertyValue(arguments[0]).trim()"
    bright = []
    for name in names:
        text = window.run(script, f"--{name}").lstrip("#")
        values = [int(text[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]
        bright.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    return (max(bright) + 0.05) / (min(bright) + 0.05)


@needs_browser
def test_two_hundred_pictures(window: Browser, pages: Path) -> None:
    """Work that would be felt is counted, not timed (tests/studies/page_work.py times it): only what is in sight is
    decoded, few elements are alive, and neither a search nor a filter lays the page out more than once."""
    window.resize(1400, 900)
    window.open(pages / "many.html")
    window.wait("return document.querySelectorAll('.thumb')[0].naturalWidth > 0")
    loaded = window.run("return [...document.querySelectorAll('.thumb')].filter(i => i.src).length")
    assert 0 < loaded < 60
    assert window.run("return document.querySelectorAll('*').length") < 200 * 7 + 150
    for step in ("search.value = '1'; search.dispatchEvent(new Event('input'))", "scrollBy(0, 300)"):
        before = window.work()
        window.run(f"{step}; return new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        after = window.work()
        assert after["LayoutCount"] - before["LayoutCount"] <= 3, step
    window.run("search.value = ''; search.dispatchEvent(new Event('input'))")
    window.run("scrollTo(0, document.documentElement.scrollHeight)")
    window.wait("return [...document.querySelectorAll('.thumb')].at(-1).naturalWidth > 0")
    window.screenshot(SHOTS / "sheet-many.png")
    window.run("search.value = '199'; search.dispatchEvent(new Event('input'))")
    assert visible(window) == 1


@needs_browser
def test_gallery_shows_pictures_and_nothing_else(window: Browser, pages: Path) -> None:
    window.resize(1400, 900)
    window.open(pages / "gallery.html")
    window.wait("return document.querySelectorAll('.thumb')[0].naturalWidth > 0")
    assert window.run("return document.querySelectorAll('[data-filter], .card .status').length") == 0
    window.click(".card")
    assert window.run("return [...document.querySelectorAll('[data-mode]')].map(b => b.textContent.trim())") == [
        "1 Picture"
    ]
    window.press("3", "o", "w", RIGHT)
    assert viewed(window) == "market-001/wide" and window.complaints() == []
    window.screenshot(SHOTS / "gallery.png")
