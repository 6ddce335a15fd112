"""A page as Chromium shows it, without a screen: what it says of errors, requests and overflow.

The page is put into a frame of a given width; a script beside it (the page itself allows none)
reads what there is. For paper its rules for print are made those for all.
"""

import base64
import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

#: As the program is called in different distributions.
_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")

#: A4 less a margin of 10 mm on each side, in CSS pixels (96 to the inch).
PAPER_WIDE = 718

_OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--hide-scrollbars",
    "--disable-background-networking",
    "--no-first-run",
    "--disable-component-update",
    "--enable-logging=stderr",
)

_FRAME = """<!DOCTYPE html><html><body style="margin:0">
<iframe id="page" style="width:{wide}px;height:4000px;border:0"></iframe>
<pre id="told"></pre>
<script>
const frame = document.getElementById("page");
window.alerts = 0;
frame.addEventListener("load", () => {{
  const page = frame.contentDocument, root = page.documentElement;
  const wide = [...page.querySelectorAll("body *")].filter((one) => {{
    if (one.closest("svg") && one.tagName !== "svg") return false;
    if (one.closest(".wide") && !one.classList.contains("wide")) return false;
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.right > {wide} + 1 || box.left < -1);
  }});
  const told = {{
    overflow: root.scrollWidth - {wide},
    wide: wide.slice(0, 5).map((one) => one.tagName + ": " + one.textContent.slice(0, 40)),
    requests: frame.contentWindow.performance.getEntriesByType("resource").map((one) => one.name),
    scripts: page.scripts.length,
    text: page.body.innerText,
    drawings: page.querySelectorAll("svg").length,
  }};
  const plain = unescape(encodeURIComponent(JSON.stringify(told)));
  document.getElementById("told").textContent = btoa(plain);
}});
frame.srcdoc = {page};
</script></body></html>"""


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What a page came to: ``overflow`` in pixels beyond its width, and what sticks out."""

    overflow: int
    wide: list[str]
    requests: list[str]
    scripts: int
    text: str
    drawings: int
    console: list[str]


def browser() -> str | None:
    """The program, None where there is none."""
    return next((found for name in _NAMES if (found := shutil.which(name))), None)


def shown(page: str, folder: Path, wide: int, *, on_paper: bool = False) -> Shown:
    """``page`` at a width in pixels; ``folder`` is for what the browser needs."""
    if on_paper:
        assert "@media print" in page
        page = page.replace("@media print", "@media all")
    framed = _FRAME.format(wide=wide, page=json.dumps(page).replace("</", "<\\/"))
    file = folder / "framed.html"
    file.write_text(framed, encoding="utf-8")
    ended = _run(folder, "--virtual-time-budget=8000", "--dump-dom", file.as_uri())
    found = re.search(r'<pre id="told">([^<]+)</pre>', ended.stdout)
    assert found is not None, ended.stderr[-2000:]
    told = json.loads(base64.b64decode(found[1]).decode())
    console = [line for line in ended.stderr.splitlines() if "CONSOLE" in line]
    return Shown(console=console, **told)


def printed(page: str, folder: Path) -> bytes:
    """``page`` as the PDF that the browser prints."""
    file, out = folder / "page.html", folder / "page.pdf"
    file.write_text(page, encoding="utf-8")
    _run(folder, "--no-pdf-header-footer", f"--print-to-pdf={out}", file.as_uri())
    return out.read_bytes()


def pictured(page: str, folder: Path, wide: int, *, high: int) -> Path:
    """``page`` as a picture of so many pixels."""
    file, out = folder / "page.html", folder / "page.png"
    file.write_text(page, encoding="utf-8")
    _run(folder, f"--window-size={wide},{high}", f"--screenshot={out}", file.as_uri())
    return out


def _run(folder: Path, *options: str) -> "subprocess.CompletedProcess[str]":
    program = browser()
    assert program is not None
    return subprocess.run(
        [
            program,
            *_OPTIONS,
            "--enable-logging=stderr",
            f"--user-data-dir={folder / 'own'}",
            *options,
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
