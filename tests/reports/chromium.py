"""A headless Chromium for the tests of pages, driven over a pipe by the DevTools protocol: nothing but the standard
library and the browser. No name is ever resolved, so that nothing leaves this machine even if a page asks for it.

Protocol: Chrome DevTools Protocol, domains Target, Page, Runtime, Log, Network, Input and Emulation; messages over
``--remote-debugging-pipe`` are JSON, each followed by a zero byte (the browser's own switch documentation).
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PATIENCE_S = 30
_LOCAL = ("file:", "data:", "blob:", "about:")


def found() -> str | None:
    """Where the browser is; None if there is none. ``TAPEWRIGHT_CHROMIUM`` names another."""
    return os.environ.get("TAPEWRIGHT_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)


class Chromium:
    """One browser."""

    def __init__(self, program: str, profile: Path) -> None:
        to_read, self._write = os.pipe()
        self._read, to_write = os.pipe()
        switches = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-extensions",
            "--hide-scrollbars",
            "--mute-audio",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={profile}",
            "--remote-debugging-pipe",
            "about:blank",
        ]
        self._process = subprocess.Popen(
            ["bash", "-c", f'exec "$0" "$@" 3<&{to_read} 4>&{to_write}', program, *switches],
            pass_fds=(to_read, to_write),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(to_write)
        self._number = 0
        self._buffer = b""
        self._messages: list[dict[str, Any]] = []

    def page(self) -> Page:
        """A new page."""
        target = self.call("Target.createTarget", {"url": "about:blank"})["targetId"]
        session = self.call("Target.attachToTarget", {"targetId": target, "flatten": True})["sessionId"]
        return Page(self, target, session)

    def call(self, method: str, parameters: dict[str, Any] | None = None, session: str | None = None) -> dict[str, Any]:
        """What the browser answers."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": parameters or {}}
        if session is not None:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._write, data) :]
        end = time.monotonic() + PATIENCE_S
        while True:
            told = self._next(end)
            if told.get("id") == number:
                assert "error" not in told, f"{method}: {told.get('error')}"
                answer: dict[str, Any] = told["result"]
                return answer
            self._messages.append(told)

    def events(self, session: str) -> list[dict[str, Any]]:
        """What has happened in a session since this was last asked."""
        while select.select([self._read], [], [], 0)[0]:
            self._messages.append(self._next(time.monotonic() + PATIENCE_S))
        ours = [told for told in self._messages if told.get("sessionId") == session]
        self._messages = [told for told in self._messages if told.get("sessionId") != session]
        return ours

    def _next(self, end: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], max(0.0, end - time.monotonic()))
            assert ready, "the browser does not answer"
            data = os.read(self._read, 1 << 20)
            assert data, "the browser has ended"
            self._buffer += data
        line, _, self._buffer = self._buffer.partition(b"\0")
        told: dict[str, Any] = json.loads(line)
        return told

    def close(self) -> None:
        """End it."""
        os.close(self._write)
        os.close(self._read)
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


class Page:
    """One page, with everything that its console and its network have said."""

    def __init__(self, browser: Chromium, target: str, session: str) -> None:
        self._browser, self._target, self._session = browser, target, session
        self.console: list[str] = []
        self.requests: list[str] = []
        for domain in ("Page", "Runtime", "Log", "Network"):
            self._call(f"{domain}.enable")

    def _call(self, method: str, **parameters: Any) -> dict[str, Any]:
        return self._browser.call(method, parameters, self._session)

    def listen(self) -> None:
        """Take note of what the console and the network have said."""
        for told in self._browser.events(self._session):
            method, what = told["method"], told["params"]
            if method == "Runtime.exceptionThrown":
                details = what["exceptionDetails"]
                self.console.append(details.get("exception", {}).get("description", details["text"]))
            elif method == "Runtime.consoleAPICalled" and what["type"] in ("error", "warning", "assert"):
                self.console.append(" ".join(str(one.get("value", one.get("description"))) for one in what["args"]))
            elif method == "Log.entryAdded" and what["entry"]["level"] in ("error", "warning"):
                self.console.append(what["entry"]["text"])
            elif method == "Network.requestWillBeSent" and not what["request"]["url"].startswith(_LOCAL):
                self.requests.append(what["request"]["url"])

    def size(self, width: int, height: int) -> None:
        """Of the window, in CSS pixels."""
        self._call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def open(self, path: Path, ready: str = "document.readyState === 'complete'") -> None:
        """Show the file and wait until ``ready`` holds."""
        self._call("Page.navigate", url=path.resolve().as_uri())
        self.wait(ready)

    def wait(self, holds: str) -> None:
        """Until the expression is true."""
        end = time.monotonic() + PATIENCE_S
        while not self.run(f"Boolean({holds})"):
            self.listen()
            assert time.monotonic() < end, f"never true: {holds}; console: {self.console}"
            time.sleep(0.02)

    def run(self, expression: str) -> Any:
        """The value of a script, promises awaited."""
        told = self._call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def move(self, x: float, y: float) -> None:
        """The pointer to that place of the window."""
        self._call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)

    def click(self, x: float, y: float) -> None:
        """There."""
        self.move(x, y)
        for kind in ("mousePressed", "mouseReleased"):
            self._call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def press(self, key: str, shift: bool = False) -> None:
        """One key."""
        text = {"Enter": "\r", " ": " "}.get(key, key if len(key) == 1 else "")
        codes = {"Enter": 13, " ": 32, "Tab": 9, "ArrowRight": 39, "ArrowLeft": 37, "Escape": 27}
        common = {"key": key, "windowsVirtualKeyCode": codes.get(key, 0), "modifiers": 8 if shift else 0}
        self._call("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text, **common)
        self._call("Input.dispatchKeyEvent", type="keyUp", **common)

    def type(self, text: str) -> None:
        """Into what has the focus."""
        self._call("Input.insertText", text=text)

    def picture(self, path: Path) -> None:
        """The whole page as a PNG."""
        told = self._call("Page.captureScreenshot", captureBeyondViewport=True, format="png")
        path.write_bytes(base64.b64decode(told["data"]))

    def printed(self) -> bytes:
        """The page as a PDF."""
        return base64.b64decode(self._call("Page.printToPDF", printBackground=True, preferCSSPageSize=True)["data"])

    def close(self) -> None:
        """End it."""
        self._browser.call("Target.closeTarget", {"targetId": self._target})
