"""Staff notation, engraved by verovio (an optional library) out of MusicXML.

What is engraved is the part as any program writes it, made ready for paper first: an open hi-hat is
an x with a circle above, the first closed one after it has a plus, a half-open one has its x in a
circle; a rest of the feet stands only
where no hand shows the time; words are left out, since the page sets them in its own letters. The
drawing then comes back as outlines, with the places where the notes stand.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from importlib.util import find_spec
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

import numpy as np
from defusedxml.ElementTree import fromstring
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path
from matplotlib.path import Path

from playalong.report.paper.piece import Outline, Piece, Place, corners, end_of, line
from playalong.support.errors import UserError

#: How the music is set. Lengths in tenths of a millimetre. The least height of a page makes
#: each system a page of its own.
_OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "auto",
    "minLastJustification": 0,
    "footer": "none",
    "header": "none",
    "font": "Leland",
    "pageHeight": 100,
    "pageMarginBottom": 0,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "pageMarginTop": 0,
    "scale": 100,
    "spacingLinear": 0.4,
    "spacingNonLinear": 0.55,
}

#: Half a staff space, in tenths of a millimetre.
_UNIT = 8.0

#: Of the drawing, so many units are a millimetre.
_UNITS = 100.0

#: Rests and notes of the feet are in this voice.
_FEET = "2"

#: Parts of the drawing that are no music.
_UNSEEN = {"placeholder", "label", "verse", "dir", "tempo", "mNum"}

#: Heads by their name in MusicXML that verovio does not draw from it.
_OWN_HEADS = ("triangle", "slashed")

_SVG = "{http://www.w3.org/2000/svg}"


def is_there() -> bool:
    """Whether the library is."""
    return find_spec("verovio") is not None


def engraved(
    score: bytes,
    *,
    width: float,
    optional: Collection[tuple[int, Fraction, str]] = (),
    is_excerpt: bool = False,
    has_rests: bool = True,
    size: float = 1.0,
) -> list[Piece]:
    """The systems of a score, each ``width`` millimetres wide.

    ``optional`` are (bar, position, instrument) of notes that are set in grey. An excerpt has
    neither clef nor meter; without ``has_rests`` it shows notes alone. ``size``: so many times as
    large as the smallest that is set. UserError where verovio cannot read the score.
    """
    root = fromstring(score)
    places, heads = _made_ready(root, is_excerpt, has_rests)
    toolkit = _toolkit()
    own = {"pageWidth": max(100, round(width * 10)), "unit": round(_UNIT * size, 2)}
    toolkit.setOptions({**_OPTIONS, **own})
    if not toolkit.loadData(tostring(root, encoding="unicode")):
        raise UserError("This cannot be set in staff notation: it is drawn on the grid.")
    quiet = {name for name, (bar, at, what) in places.items() if (bar, at, what) in optional}
    return [
        _Drawing(
            svg=fromstring(toolkit.renderToSVG(page)), places=places, quiet=quiet, heads=heads
        ).piece()
        for page in range(1, toolkit.getPageCount() + 1)
    ]


@cache
def _toolkit() -> Any:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


# The score, made ready.

#: The name of a note or a rest, and where it stands: bar, position, and its instrument.
_Names = dict[str, tuple[int, Fraction, str]]


def _made_ready(root: Element, is_excerpt: bool, has_rests: bool) -> tuple[_Names, dict[str, str]]:
    """Change the score as paper has it; gives each note and rest a name, and the heads of notes
    that are drawn here.
    """
    for label in root.iter("part-name"):
        label.text = ""
        label.set("print-object", "no")
    found: _Names = {}
    heads: dict[str, str] = {}
    was_open = False
    for beats in root.iter("beats"):  # how they are grouped is seen by beams and count
        beats.text = str(sum(int(part) for part in str(beats.text).split("+")))
    divisions = 1
    for bar, measure in enumerate(root.iter("measure")):
        for direction in measure.findall("direction"):
            measure.remove(direction)
        notes = list(_timed(measure, divisions))
        divisions = int(measure.findtext("attributes/divisions") or divisions)
        struck = {
            at
            for at, note in notes
            if note.find("rest") is None and note.findtext("voice") != _FEET
        }
        for number, (at, note) in enumerate(notes):
            name = f"n{bar}-{number}"
            note.set("id", name)
            head = note.findtext("notehead") or ""
            if head in _OWN_HEADS:
                heads[name] = head
            instrument = note.find("instrument")
            what = "" if instrument is None else str(instrument.get("id")).partition("-")[2]
            if note.find("grace") is None:
                found[name] = bar, at, what
            for lyric in note.findall("lyric"):
                note.remove(lyric)
            for accent in note.iter("accent"):
                accent.set("placement", "below" if note.findtext("voice") == _FEET else "above")
            is_rest = note.find("rest") is not None
            if is_rest and (not has_rests or (note.findtext("voice") == _FEET and at in struck)):
                note.set("print-object", "no")
        _count_tuplets_once(notes)
        was_open = _hats(notes, was_open)
        if is_excerpt:
            for own in measure.iter("attributes"):
                for part in ("time", "clef"):
                    for hidden in own.findall(part):
                        hidden.set("print-object", "no")
    return found, heads


def _timed(measure: Element, divisions: int) -> Iterator[tuple[Fraction, Element]]:
    """The notes of a measure, each with its position in whole notes."""
    at = last = Fraction(0)
    for one in measure:
        if one.tag == "attributes":
            divisions = int(one.findtext("divisions") or divisions)
        length = Fraction(int(one.findtext("duration") or 0), 4 * divisions)
        if one.tag == "backup":
            at -= length
        elif one.tag == "forward":
            at += length
        elif one.tag == "note":
            if one.find("chord") is not None:
                yield last, one
            else:
                yield at, one
                last, at = at, at + length


def _count_tuplets_once(notes: list[tuple[Fraction, Element]]) -> None:
    """Where hands and feet have a tuplet at once, its number stands at the hands."""
    starts: dict[Fraction, list[tuple[Element, bool]]] = {}
    for at, note in notes:
        for tuplet in note.iterfind("notations/tuplet[@type='start']"):
            is_foot = note.findtext("voice") == _FEET
            starts.setdefault(at, []).append((tuplet, is_foot))
    for here in starts.values():
        if {is_foot for _, is_foot in here} == {True, False}:
            for tuplet, is_foot in here:
                if is_foot:
                    tuplet.set("show-number", "none")
                    tuplet.set("bracket", "no")


def _hats(notes: list[tuple[Fraction, Element]], was_open: bool) -> bool:
    """Set the signs of open and closed hi-hats; whether the last one is open."""
    for _, note in sorted(notes, key=lambda one: one[0]):
        instrument = note.find("instrument")
        what = "" if instrument is None else str(instrument.get("id")).partition("-")[2]
        if note.find("grace") is not None or not what.startswith(("hi-hat", "foot-splash")):
            continue
        marks = note.find("notations/technical")
        if what == "hi-hat-open":
            head = note.find("notehead")
            if head is not None:
                head.text = "x"
            if marks is None:
                marks = _technical(note)
            for one in list(marks):
                marks.remove(one)
            SubElement(marks, "open-string")
        elif what == "hi-hat-half":
            head = note.find("notehead")
            if head is not None:
                head.text = "circle-x"
        elif what == "hi-hat" and was_open:
            SubElement(marks if marks is not None else _technical(note), "stopped")
        was_open = what in ("hi-hat-open", "hi-hat-half")
    return was_open


def _technical(note: Element) -> Element:
    notations = note.find("notations")
    if notations is None:
        notations = SubElement(note, "notations")
    return SubElement(notations, "technical")


# The drawing, read back.


@dataclass(frozen=True, slots=True, kw_only=True)
class _Where:
    """A scale and a shift: from a part of the drawing to millimetres."""

    scale_x: float = 1 / _UNITS
    scale_y: float = 1 / _UNITS
    x: float = 0.0
    y: float = 0.0

    def then(self, transform: str) -> "_Where":
        """The same inside an element that has ``transform``: shifts and scales only."""
        now = self
        for part in filter(None, (one.strip() for one in transform.split(")"))):
            name, _, numbers = part.partition("(")
            first, *more = (float(one) for one in numbers.replace(",", " ").split())
            second = more[0] if more else (first if name.strip() == "scale" else 0.0)
            if name.strip() == "translate":
                now = replace(now, x=now.x + first * now.scale_x, y=now.y + second * now.scale_y)
            elif name.strip() == "scale":
                now = replace(now, scale_x=now.scale_x * first, scale_y=now.scale_y * second)
        return now

    def of(self, path: Path) -> Path:
        """A path, in millimetres."""
        scaled = corners(path) * np.array([self.scale_x, self.scale_y])
        return Path(scaled + np.array([self.x, self.y]), path.codes)


@dataclass(kw_only=True)
class _Drawing:
    """An SVG of verovio: paths, lines and glyphs, in groups that have classes and names.

    The piece that it becomes has its origin at the left end of the upper line of the staff.
    """

    svg: Element
    places: _Names
    quiet: set[str]
    heads: dict[str, str]
    outlines: list[Outline] = field(default_factory=list)
    x_of: dict[Place, float] = field(default_factory=dict)
    _edges: list[float] = field(default_factory=list)
    _staff: float = float("inf")
    _with_head: set[str] = field(default_factory=set)

    def piece(self) -> Piece:
        self._glyphs = {
            str(group.get("id")): group for group in self.svg.iterfind(f"{_SVG}defs/{_SVG}g")
        }
        for part in self.svg:
            if part.tag in (f"{_SVG}svg", f"{_SVG}g"):
                self._group(part, _Where(), is_quiet=False, name="")
        low = [corners(one.path).min(axis=0) for one in self.outlines]
        high = [corners(one.path).max(axis=0) for one in self.outlines]
        bars = sorted({bar for bar, _ in self.x_of})
        for bar, edge in zip(bars, sorted(self._edges)[1:], strict=False):
            self.x_of[end_of(bar)] = edge
        return Piece(
            width=float(max(one[0] for one in high)),
            top=float(min(one[1] for one in low)) - self._staff,
            bottom=float(max(one[1] for one in high)) - self._staff,
            outlines=[one.moved(0.0, -self._staff) for one in self.outlines],
            x_of=self.x_of,
        )

    def _group(self, group: Element, where: _Where, *, is_quiet: bool, name: str) -> None:
        classes = str(group.get("class", "")).split()
        if not _UNSEEN.isdisjoint(classes):
            return
        where = where.then(group.get("transform", ""))
        own = str(group.get("id", ""))
        if own in self.places:
            name, is_quiet = own, own in self.quiet
        for one in group:
            tag = one.tag.removeprefix(_SVG)
            if tag in ("g", "svg"):
                self._group(one, where, is_quiet=is_quiet, name=name)
            else:
                self._shape(tag, one, where, is_quiet=is_quiet, name=name, classes=classes)

    def _shape(
        self,
        tag: str,
        one: Element,
        where: _Where,
        *,
        is_quiet: bool,
        name: str,
        classes: list[str],
    ) -> None:
        here = where.then(one.get("transform", ""))
        width = float(one.get("stroke-width", 0)) / _UNITS
        found: list[Outline] = []
        if tag == "use":
            href = one.get("href") or one.get("{http://www.w3.org/1999/xlink}href") or ""
            for drawn in self._glyphs[href.removeprefix("#")].iter(f"{_SVG}path"):
                inside = here.then(drawn.get("transform", ""))
                outline = inside.of(_path(drawn.get("d", "")))
                found.append(Outline(outline, 0.0, is_quiet))
        elif tag == "path":
            path = here.of(_path(one.get("d", "")))
            found.append(Outline(path, 0.0 if one.get("fill") or not width else width, is_quiet))
        elif tag in ("polygon", "polyline"):
            numbers = [float(each) for each in one.get("points", "").replace(",", " ").split()]
            points = np.array(numbers).reshape(-1, 2)
            if tag == "polygon":
                path = here.of(Path(np.vstack([points, points[:1]]), closed=True))
                found.append(Outline(path, 0.0, is_quiet))
            else:
                found.append(Outline(here.of(Path(points)), width, is_quiet))
        elif tag == "ellipse":
            middle = (float(one.get("cx", 0)), float(one.get("cy", 0)))
            circle = Path.circle(middle, float(one.get("rx", 0)))
            found.append(Outline(here.of(circle), 0.0, is_quiet))
        if found and "staff" in classes and tag == "path":
            ends = corners(found[0].path)[:, 0]
            self._staff = min(self._staff, float(corners(found[0].path)[0, 1]))
            for end in (float(ends.min()), float(ends.max())):
                if not any(abs(end - edge) < 0.5 for edge in self._edges):
                    self._edges.append(end)
        # The first part of a note's head is the head itself; its brackets come after it.
        if (
            found
            and name
            and classes[:1] in (["notehead"], ["rest"])
            and name not in self._with_head
        ):
            self._with_head.add(name)
            ends = corners(found[0].path)[:, 0]
            bar, at, _ = self.places[name]
            middle_x = float(ends.min() + ends.max()) / 2
            is_note = classes[0] == "notehead"
            if is_note or (bar, at) not in self.x_of:
                self.x_of[bar, at] = middle_x
            if name in self.heads:
                found = list(_own_head(found[0], self.heads[name]))
        self.outlines += found


def _own_head(head: Outline, kind: str) -> Iterator[Outline]:
    """A head that verovio does not draw, in place of an ordinary one: a triangle, or slashed."""
    (left, top), (right, bottom) = corners(head.path).min(axis=0), corners(head.path).max(axis=0)
    if kind == "triangle":
        points = [(left, bottom), (right, bottom), ((left + right) / 2, top), (left, bottom)]
        yield Outline(Path(np.array(points), closed=True), 0.0, head.is_quiet)
        return
    yield head
    more = (bottom - top) * 0.45
    yield line([(left - more / 2, bottom + more), (right + more / 2, top - more)], 0.25)


@cache
def _path(data: str) -> Path:
    """The path that SVG writes as ``data``."""
    pen = RecordingPen()
    parse_path(data, pen)
    points: list[tuple[float, float]] = []
    codes: list[np.uint8] = []
    for name, values in pen.value:
        if name in ("closePath", "endPath"):
            if name == "closePath":
                points.append(points[-1])
                codes.append(Path.CLOSEPOLY)
            continue
        points += values
        kind = {
            "moveTo": Path.MOVETO,
            "lineTo": Path.LINETO,
            "curveTo": Path.CURVE4,
            "qCurveTo": Path.CURVE3,
        }[name]
        codes += [kind] * len(values)
    return Path(np.array(points, dtype=float), codes)
