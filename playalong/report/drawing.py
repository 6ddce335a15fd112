"""How plots look, and how a figure becomes SVG that stands in a page.

The same paper, ink and one colour for what is off as on the sheet. Letters stay letters, so that
they can be read aloud, searched and enlarged.
"""

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

# That a cache of fonts is made at the first time is nothing to tell a teacher.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

INK, QUIET, RULE, BAND, OFF, BLUE = (
    "#21242a",
    "#645e53",
    "#b9b1a0",
    "#e8e4da",
    "#b23214",
    "#48648a",
)

#: Marks by limb, told apart by shape before colour.
MARKS = ("o", "s", "^", "D", "v", "P")

_STYLE: Any = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.edgecolor": RULE,
    "axes.labelcolor": QUIET,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "text.color": INK,
    "legend.frameon": False,
}

#: What the SVG writer puts before the drawing, and what says when and with what it was made.
_HEAD = re.compile(r"^.*?(?=<svg\b)", re.DOTALL)
_METADATA = re.compile(r"<metadata>.*?</metadata>", re.DOTALL)
_SIZE = re.compile(r'(<svg\b[^>]*?) width="[^"]*"([^>]*?)( height="[^"]*")([^>]*>)')


@contextmanager
def drawing(
    name: str, *, wide: float = 3.9, high: float = 2.2, rows: int = 1
) -> Iterator[tuple[Figure, list[Axes]]]:
    """A figure of so many inches with its axes, one below the other.

    ``name`` is that of the plot in its page: what is inside the drawing is named after it.
    """
    with matplotlib.rc_context({**_STYLE, "svg.hashsalt": name}):
        figure = Figure(figsize=(wide, high), layout="constrained")
        FigureCanvasSVG(figure)
        figure.patch.set_alpha(0.0)
        found = figure.subplots(rows, 1, sharex=True, squeeze=False)
        axes = [row[0] for row in found]
        for one in axes:
            one.patch.set_alpha(0.0)
        yield figure, axes


def svg(figure: Figure, about: str) -> str:
    """The figure as an ``svg`` element as wide as its room; ``about`` is for who cannot see it."""
    text = StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    found = _METADATA.sub("", _HEAD.sub("", text.getvalue()))
    found = _SIZE.sub(r"\1\2\4", found, count=1)
    label = about.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    return found.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1)
