"""A web server on a loopback port that keeps what is posted to it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any


@contextmanager
def web_hook() -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Yield the address of the server and the JSON objects posted to it; it answers 500 at /broken."""
    posted: list[dict[str, Any]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            posted.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(500 if self.path == "/broken" else 204)
            self.end_headers()

        def log_message(self, *_: object) -> None:  # type: ignore[override]
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as httpd:
        thread = threading.Thread(target=httpd.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{httpd.server_port}", posted
        httpd.shutdown()
        thread.join()
