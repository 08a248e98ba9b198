"""A page in headless Chromium that is asked and pressed as a reader does it: real keys, real frames.

The browser is spoken to through two pipes by its DevTools protocol: texts of JSON that end in a zero byte.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

from browser_harness import _FLAGS, CHROMIUM

PATIENCE = 300.0  # s; a busy machine takes long to open a browser
KEYS = {"Tab": 9, "PageUp": 33, "PageDown": 34, "End": 35, "Home": 36, "ArrowLeft": 37, "ArrowRight": 39}


class OpenPage:
    """A page in a browser of its own; closed with the block."""

    def __init__(self, page: Path, width: int = 1280, height: int = 1400) -> None:
        self._folder = Path(tempfile.mkdtemp())
        ours, theirs = os.pipe(), os.pipe()  # they read 3 and write 4
        flags = [*_FLAGS, f"--window-size={width},{height}", f"--user-data-dir={self._folder}"]

        def numbered() -> None:
            read, write = os.dup(ours[0]), os.dup(theirs[1])
            os.dup2(read, 3)
            os.dup2(write, 4)

        self._process = subprocess.Popen(
            [str(CHROMIUM), *flags, *_PIPES],
            preexec_fn=numbered,
            pass_fds=(3, 4),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(ours[0])
        os.close(theirs[1])
        self._say, self._hear = os.fdopen(ours[1], "wb"), os.fdopen(theirs[0], "rb")
        self._number, self._rest, self._session = 0, b"", None
        target = self.ask("Target.createTarget", url=page.resolve().as_uri())["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        end = time.monotonic() + PATIENCE
        while self.value("location.protocol + document.readyState") != "file:complete":
            assert time.monotonic() < end, "the page did not load"
            time.sleep(0.05)

    def __enter__(self) -> OpenPage:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait()
        self._say.close()
        self._hear.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Say something and give the answer to it; what the browser tells unasked is left."""
        self._number += 1
        told = {"id": self._number, "method": method, "params": parameters}
        if self._session is not None:
            told["sessionId"] = self._session
        self._say.write(json.dumps(told).encode() + b"\0")
        self._say.flush()
        while True:
            answer = json.loads(self._next())
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return answer["result"]

    def _next(self) -> bytes:
        while b"\0" not in self._rest:
            more = os.read(self._hear.fileno(), 1 << 16)
            assert more, "the browser has ended"
            self._rest += more
        text, _, self._rest = self._rest.partition(b"\0")
        return text

    def value(self, script: str) -> Any:
        """What a script gives, or what its promise does."""
        found = self.ask("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def press(self, key: str) -> None:
        """Press a key and let it go."""
        for kind in ("rawKeyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=KEYS[key])


_PIPES = ("--remote-debugging-pipe", "about:blank")
