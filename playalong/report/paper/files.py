"""Pages as files: PDF, SVG or PNG, all drawn by matplotlib from the same outlines and words.

The same pages give the same bytes: no file says when it was made.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure

from playalong.report.paper.layout import Page
from playalong.report.paper.letters import FAMILY, POINT

#: Ink, and what is grey: both keep their order of strength on a printer without colours.
_INK, _QUIET = "#000000", "#6b6b6b"

_INCH = 25.4

#: Dots to the inch of a picture: what a printer needs for lines of a tenth of a millimetre.
DOTS = 200

_STYLE: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": [FAMILY],
    "pdf.fonttype": 42,  # whole letters, that can be searched and copied
    "svg.fonttype": "none",
    "svg.hashsalt": "sheet",
    "path.simplify": False,
}


def as_pdf(pages: Sequence[Page], title: str) -> bytes:
    """All pages in one file."""
    data = BytesIO()
    about = {"Title": title, "Creator": "playalong", "Producer": None, "CreationDate": None}
    with matplotlib.rc_context(_STYLE), PdfPages(data, metadata=about) as file:
        for page in pages:
            file.savefig(_drawn(page))
    return data.getvalue()


def as_svg(pages: Sequence[Page]) -> list[bytes]:
    """Each page as a file of its own."""
    with matplotlib.rc_context(_STYLE):
        return [_saved(page, "svg", metadata={"Date": None, "Creator": None}) for page in pages]


def as_png(pages: Sequence[Page]) -> list[bytes]:
    """Each page as a picture."""
    with matplotlib.rc_context(_STYLE):
        return [_saved(page, "png", dpi=DOTS, metadata={"Software": None}) for page in pages]


def _saved(page: Page, kind: str, **more: Any) -> bytes:
    data = BytesIO()
    _drawn(page).savefig(data, format=kind, **more)
    return data.getvalue()


def _drawn(page: Page) -> Figure:
    figure = Figure(figsize=(page.width / _INCH, page.height / _INCH))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, page.width)
    axes.set_ylim(page.height, 0.0)
    axes.axis("off")
    _draw_outlines(axes, page)
    for words in page.words:
        axes.text(
            words.x,
            words.y,
            words.text,
            fontsize=words.size,
            fontweight="bold" if words.bold else "normal",
            color=_QUIET if words.is_quiet else _INK,
            ha={0.0: "left", 0.5: "center", 1.0: "right"}[words.align],
            va="baseline",
            parse_math=False,
        )
    return figure


def _draw_outlines(axes: Axes, page: Page) -> None:
    for is_quiet in (True, False):
        colour = _QUIET if is_quiet else _INK
        filled = [one.path for one in page.outlines if not one.width and one.is_quiet is is_quiet]
        lines = [one for one in page.outlines if one.width and one.is_quiet is is_quiet]
        if filled:
            axes.add_collection(
                PathCollection(filled, facecolors=colour, linewidths=0.0), autolim=False
            )
        if lines:
            widths = [one.width / POINT for one in lines]
            axes.add_collection(
                PathCollection(
                    [one.path for one in lines],
                    facecolors="none",
                    edgecolors=colour,
                    linewidths=widths,
                    capstyle="butt",
                ),
                autolim=False,
            )
