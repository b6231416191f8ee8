"""A headless Chromium driven by its own driver over plain HTTP (W3C WebDriver); no library between."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import time
import urllib.request
from pathlib import Path
from typing import Any

MISSING = None if shutil.which("chromium") and shutil.which("chromedriver") else "needs the system packages chromium and chromium-driver"


class Browser:
    """One browser: opens files, runs scripts, presses keys, tells its console and what it asked the network for."""

    def __init__(self, profile: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self._at = f"http://127.0.0.1:{port}"
        self._driver = subprocess.Popen(["chromedriver", f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self._wait_for_driver()
        options = {"args": ["--headless=new", "--no-sandbox", "--disable-gpu", f"--user-data-dir={profile}", "--window-size=1200,900"]}
        wanted = {"browserName": "chrome", "goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"}}
        self._session = f"/session/{self._ask('POST', '/session', {'capabilities': {'alwaysMatch': wanted}})['sessionId']}"

    def _wait_for_driver(self) -> None:
        for _ in range(100):
            try:
                self._ask("GET", "/status")
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise TimeoutError("the driver of the browser does not answer")

    def _ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self._at + path, data=data, method=method, headers={"Content-Type": "application/json"})
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.loads(answer.read())["value"]

    def open(self, path: Path) -> None:
        self._ask("POST", f"{self._session}/url", {"url": path.resolve().as_uri()})

    def run(self, script: str, *given: Any) -> Any:
        return self._ask("POST", f"{self._session}/execute/sync", {"script": script, "args": list(given)})

    def run_async(self, script: str, *given: Any) -> Any:
        return self._ask("POST", f"{self._session}/execute/async", {"script": script, "args": list(given)})

    def press(self, key: str) -> None:
        keys = {"id": "k", "type": "key", "actions": [{"type": "keyDown", "value": key}, {"type": "keyUp", "value": key}]}
        self._ask("POST", f"{self._session}/actions", {"actions": [keys]})

    def log(self, kind: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self._ask("POST", f"{self._session}/se/log", {"type": kind})
        return found

    def requests(self) -> list[str]:
        """Addresses asked for since the last call, the page's own file, data inside it and the browser's own pages left out."""
        sent = [json.loads(e["message"])["message"] for e in self.log("performance")]
        urls = [m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"]
        return [u for u in urls if not u.startswith(("data:", "file:", "chrome:", "chrome-untrusted:", "devtools:"))]

    def pdf(self) -> bytes:
        import base64

        return base64.b64decode(self._ask("POST", f"{self._session}/print", {}))

    def close(self) -> None:
        try:
            self._ask("DELETE", self._session)
        finally:
            self._driver.terminate()
            self._driver.wait(10)
