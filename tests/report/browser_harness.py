"""Opens a page in headless Chromium and reports what a reader would meet.

The page is put into a frame of given width (srcdoc keeps it measurable), as headless windows have a least
width of their own. Scripts of the harness run outside of the frame; the page itself is shown as it is.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))),
    None,
)
MISSING = "no Chromium here (Debian: apt-get install chromium); the browser checks did not run"

_FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-features=NetworkTimeServiceQuerying,OptimizationHints,MediaRouter",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",  # neither page nor browser gets out
    "--hide-scrollbars",
    "--enable-logging=stderr",
)

_MEASURE = """
const frame = document.querySelector('iframe');
frame.onload = () => {
  const doc = frame.contentDocument, root = doc.documentElement;
  const wide = [...doc.querySelectorAll('body *')].filter(e => !e.closest('.scroll, .skip, svg') &&
    e.getBoundingClientRect().right > root.clientWidth + 1).map(e => e.tagName);
  const targets = [...doc.querySelectorAll('input, select, summary')].filter(e => e.getClientRects().length);
  const out = {
    width: root.clientWidth, scroll: root.scrollWidth, height: root.scrollHeight, wide: wide,
    text: doc.body.innerText.length, elements: doc.querySelectorAll('*').length,
    ink: frame.contentWindow.getComputedStyle(doc.body).color,
    paper: frame.contentWindow.getComputedStyle(doc.body).backgroundColor,
    size: parseFloat(frame.contentWindow.getComputedStyle(doc.querySelector('main p')).fontSize),
    target: Math.min(...targets.map(e => e.getBoundingClientRect().height)),
  };
  document.getElementById('out').textContent = JSON.stringify(out);
};
frame.srcdoc = SOURCE;
"""


def _run(arguments: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    profile = folder / "profile"
    command = [str(CHROMIUM), *_FLAGS, f"--user-data-dir={profile}", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    shutil.rmtree(profile, ignore_errors=True)
    return done


def measure(page: Path, folder: Path, width: int, dark: bool = False) -> dict:
    """Sizes, colours and contents of the page in a frame of `width` pixels."""
    source = json.dumps(page.read_text(encoding="utf-8")).replace("</", "<\\/")
    script = _MEASURE.replace("SOURCE", source)
    outer = folder / f"measure_{width}.html"
    outer.write_text(
        '<!DOCTYPE html><meta charset="utf-8"><style>body{margin:0}iframe{border:0;height:4000px;'
        f"width:{width}px}}</style>"
        f'<iframe></iframe><pre id="out"></pre><script>{script}</script>',
        encoding="utf-8",
    )
    # 0 is dark, 1 is light in Chromium's setting
    scheme = f"--blink-settings=preferredColorScheme={0 if dark else 1}"
    done = _run([scheme, "--virtual-time-budget=20000", "--dump-dom", outer.as_uri()], folder)
    found = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.S)
    assert found and found[1], f"the page did not load: {done.stderr[-2000:]}"
    return json.loads(html.unescape(found[1]))


def act(page: Path, folder: Path, script: str, width: int = 1280) -> dict:
    """What `script` leaves in `out` beside the page: run in the page's own document after its own script,
    which the
    page's policy would not let in, so that it is taken off."""
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text(encoding="utf-8"))
    # a page whose picture nobody takes gets no frames
    text = text.replace("<head>", "<head><script>requestAnimationFrame = (f) => setTimeout(f, 0)</script>")
    beside = folder / f"acted_{width}.html"
    waiting = (
        "addEventListener('load', () => setTimeout(async () => { const out = {}; try { "
        f"{script} "
        "} catch (fault) { out.fault = String(fault); } const box = document.createElement('pre'); "
        "box.id = 'out'; box.textContent = JSON.stringify(out); document.body.append(box); }, 300));"
    )
    beside.write_text(text.replace("</body>", f"<script>{waiting}</script></body>"), encoding="utf-8")
    size = f"--window-size={width},1400"
    done = _run(["--virtual-time-budget=60000", size, "--dump-dom", beside.as_uri()], folder)
    found = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.S)
    assert found, f"the page did not load: {done.stderr[-2000:]}"
    return json.loads(html.unescape(found[1]))


def printed_pages(page: Path, folder: Path) -> int:
    """Number of pages that the page takes on paper, as its own style sheet has it printed."""
    target = folder / "printed.pdf"
    _run(["--no-pdf-header-footer", f"--print-to-pdf={target}", page.as_uri()], folder)
    return len(re.findall(rb"/Type\s*/Page\b", target.read_bytes()))


def visit(page: Path, folder: Path) -> tuple[list[str], list[str], Path]:
    """Console messages, addresses asked for beyond the page itself, and a screenshot."""
    log, shot = folder / "net.json", folder / "shot.png"
    done = _run(
        [f"--log-net-log={log}", f"--screenshot={shot}", "--window-size=1100,1600", page.as_uri()], folder
    )
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return console, _asked_by_page(log), shot


def _asked_by_page(log: Path) -> list[str]:
    """Addresses in Chromium's network log that a page asked for; the browser's own have "not an origin"."""
    asked = set()
    for event in json.loads(log.read_text(encoding="utf-8"))["events"]:
        params = event.get("params", {})
        if "url" in params and params.get("initiator", "not an origin") != "not an origin":
            asked.add(params["url"])
    return sorted(url for url in asked if not url.startswith(("file:", "data:")))
