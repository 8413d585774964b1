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

    def drag(self, selector: str, share: float) -> None:
        """Press at the middle of an element and let go at a share of its width."""
        script = "return document.querySelector(arguments[0]).getBoundingClientRect().toJSON()"
        box = self.run(script, selector)
        left, top, width, height = (box[name] for name in ("x", "y", "width", "height"))
        row = round(top + height / 2)
        steps = [
            {"type": "pointerMove", "x": round(left + width / 2), "y": row},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerMove", "x": round(left + width * share), "y": row, "duration": 50},
            {"type": "pointerUp", "button": 0},
        ]
        self.call("POST", "/actions", {"actions": [{"type": "pointer", "id": "mouse", "actions": steps}]})

    def resize(self, width: int, height: int) -> None:
        """The page's own width and height, as a phone has it too (windows cannot be that narrow)."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.call("POST", "/goog/cdp/execute", {"cmd": "Emulation.setDeviceMetricsOverride", "params": metrics})

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
