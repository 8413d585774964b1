"""A headless Chromium, driven over the W3C WebDriver protocol by the standard library alone."""

import base64
import json
import shutil
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

DRIVER, CHROMIUM = shutil.which("chromedriver"), shutil.which("chromium")
LACKING = None if DRIVER and CHROMIUM else "no Chromium here: apt-get install chromium chromium-driver"
_FLAGS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    "--force-device-scale-factor=1",
]


class Browser:
    """One window."""

    def __init__(self, port: int, profile: Path, flags: list[str]) -> None:
        self.address = f"http://127.0.0.1:{port}"
        options = {"binary": CHROMIUM, "args": [*_FLAGS, f"--user-data-dir={profile}", *flags]}
        wanted = {"alwaysMatch": {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}}
        self.address += "/session/" + self.call("POST", "/session", {"capabilities": wanted})["sessionId"]

    def call(self, method: str, path: str, body: Any = None) -> Any:
        data = None if method == "GET" or method == "DELETE" else json.dumps(body or {}).encode()
        request = urllib.request.Request(self.address + path, data, {"Content-Type": "application/json"}, method=method)
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.load(answer)["value"]

    def open(self, file: Path) -> None:
        self.call("POST", "/url", {"url": file.resolve().as_uri()})

    def run(self, script: str, *arguments: Any) -> Any:
        return self.call("POST", "/execute/sync", {"script": script, "args": list(arguments)})

    def wait(self, script: str, seconds: float = 10) -> Any:
        """Until a script's result is true; it fails the test otherwise."""
        for _ in range(int(seconds / 0.05)):
            value = self.run(script)
            if value:
                return value
            time.sleep(0.05)
        raise AssertionError(f"never true: {script}")

    def press(self, *keys: str) -> None:
        steps = [step for key in keys for step in ({"type": "keyDown", "value": key}, {"type": "keyUp", "value": key})]
        self.call("POST", "/actions", {"actions": [{"type": "key", "id": "keys", "actions": steps}]})

    def click(self, selector: str) -> None:
        found = self.call("POST", "/element", {"using": "css selector", "value": selector})
        self.call("POST", f"/element/{next(iter(found.values()))}/click")

    def drag(self, selector: str, share: float, start: float = 0.5) -> None:
        """Press at a share of an element's width and let go at another."""
        left, row, width = self.middle_row(selector)
        steps = [
            {"type": "pointerMove", "x": round(left + width * start), "y": row},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerMove", "x": round(left + width * share), "y": row, "duration": 50},
            {"type": "pointerUp", "button": 0},
        ]
        self.call("POST", "/actions", {"actions": [{"type": "pointer", "id": "mouse", "actions": steps}]})

    def spread(self, selector: str, before: float, after: float) -> None:
        """Two fingers on an element, so many shares of its width apart before and after."""
        left, row, width = self.middle_row(selector)
        fingers = []
        for side in (-0.5, 0.5):
            at = [round(left + width * (0.5 + side * gap)) for gap in (before, after)]
            steps = [
                {"type": "pointerMove", "x": at[0], "y": row},
                {"type": "pointerDown", "button": 0},
                {"type": "pointerMove", "x": at[1], "y": row, "duration": 50},
                {"type": "pointerUp", "button": 0},
            ]
            finger = {"type": "pointer", "id": f"finger{side}", "parameters": {"pointerType": "touch"}}
            fingers.append({**finger, "actions": steps})
        self.call("POST", "/actions", {"actions": fingers})

    def middle_row(self, selector: str) -> tuple[float, int, float]:
        """Left, middle row and width of an element."""
        script = "return document.querySelector(arguments[0]).getBoundingClientRect().toJSON()"
        box = self.run(script, selector)
        return box["x"], round(box["y"] + box["height"] / 2), box["width"]

    def work(self) -> dict[str, float]:
        """How much the browser has done so far, by name: layouts, recalculated styles, elements alive."""
        self.devtools("Performance.enable", timeDomain="threadTicks")
        return {each["name"]: each["value"] for each in self.devtools("Performance.getMetrics")["metrics"]}

    def devtools(self, command: str, **parameters: Any) -> Any:
        return self.call("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def resize(self, width: int, height: int) -> None:
        """The page's own width and height, as a phone has it too (windows cannot be that narrow)."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.devtools("Emulation.setDeviceMetricsOverride", **metrics)

    def screenshot(self, file: Path) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(base64.b64decode(self.call("GET", "/screenshot")))

    def complaints(self) -> list[str]:
        """What the page's console says, and every request that is not of the page's own file."""
        return [entry["message"] for entry in self.call("POST", "/se/log", {"type": "browser"})]


@contextmanager
def browser(profile: Path, *flags: str) -> Iterator[Browser]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    driver = subprocess.Popen([str(DRIVER), f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(200):
            with socket.socket() as attempt:
                if attempt.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.05)
        opened = Browser(port, profile, list(flags))
        try:
            yield opened
        finally:
            opened.call("DELETE", "")
    finally:
        driver.terminate()
        driver.wait(10)
