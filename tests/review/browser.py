"""A browser without a window, driven over its DevTools protocol: just what the page's tests need."""

import itertools
import json
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import websocket

from rqa.review.printed import options

SECONDS = 60


class Tab:
    """One tab; what it asked of the network and what went wrong in it are kept in the order they came."""

    def __init__(self, address: str) -> None:
        self._socket = websocket.create_connection(address, timeout=SECONDS, suppress_origin=True)
        self._numbers = itertools.count(1)
        self.requests: list[str] = []
        self.complaints: list[str] = []
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **values: Any) -> dict[str, Any]:
        """Send a command and wait for its answer."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": values}))
        while True:
            message = json.loads(self._socket.recv())
            if message.get("id") == number:
                if "error" in message:
                    raise RuntimeError(f"{method}: {message['error']}")
                return dict(message["result"])
            self._note(message)

    def _note(self, message: dict[str, Any]) -> None:
        method, values = message.get("method"), message.get("params", {})
        if method == "Network.requestWillBeSent":
            self.requests.append(values["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(json.dumps(values["exceptionDetails"])[:300])
        elif method == "Log.entryAdded":
            self.complaints.append(values["entry"]["text"])

    def value(self, script: str) -> Any:
        """What a script gives; a promise is waited for."""
        done = self.ask("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        if "exceptionDetails" in done:
            raise RuntimeError(json.dumps(done["exceptionDetails"])[:500])
        return done["result"].get("value")

    def wait_for(self, script: str) -> None:
        """Wait until a script gives true."""
        end = time.monotonic() + SECONDS
        while not self.value(script):
            if time.monotonic() > end:
                raise TimeoutError(script)
            time.sleep(0.05)

    def look(self, *, width: int, dark: bool = False, medium: str = "screen") -> None:
        """See the page in a window of this width, in light or dark, on the screen or as printed."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", media=medium, features=[scheme])
        # Last, as charts measure the room they have when the window's size changes.
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=width < 600)
        self.value("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))")

    def close(self) -> None:
        """Let go of the tab."""
        self._socket.close()


@contextmanager
def opened(program: str, page: Path) -> Iterator[Tab]:
    """A page in a tab of a browser of its own, gone afterwards."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [*options(program, profile), "--remote-debugging-port=0", "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            tab = Tab(_address(Path(profile)))
            tab.ask("Page.navigate", url=page.resolve().as_uri())
            tab.wait_for("document.readyState === 'complete'")
            yield tab
            tab.close()
        finally:
            process.terminate()
            process.wait(timeout=SECONDS)


def _address(profile: Path) -> str:
    """Where the first tab listens."""
    import urllib.request

    told, end = profile / "DevToolsActivePort", time.monotonic() + SECONDS
    while not told.is_file() or "\n" not in told.read_text(encoding="utf-8"):
        if time.monotonic() > end:
            raise TimeoutError("the browser does not listen")
        time.sleep(0.05)
    port = told.read_text(encoding="utf-8").split("\n")[0]
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list", timeout=SECONDS) as answer:
        tabs = json.load(answer)
    return str(next(t["webSocketDebuggerUrl"] for t in tabs if t["type"] == "page"))
