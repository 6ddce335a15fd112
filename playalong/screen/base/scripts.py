"""Writing of any script: put in the order in which it is drawn, and into a face that has it.

The shipped face has Latin, Greek, Cyrillic, Armenian, Hebrew and Arabic letters. For others the
system's own faces are tried, by the names that systems usually have. What no face has is spelled in
Latin letters, so that a title can always be read, and is never blank.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from itertools import groupby

#: Usual faces of systems by the first and last letter that they are for (common practice).
SYSTEM_FACES: Mapping[tuple[int, int], tuple[str, ...]] = {
    (0x0900, 0x0DFF): ("notosansdevanagari", "nirmalaui", "kohinoordevanagari", "freesans"),
    (0x0E00, 0x0E7F): ("notosansthai", "leelawadeeui", "thonburi", "tahoma", "garuda"),
    (0x1100, 0x11FF): ("notosanscjkkr", "malgungothic", "applesdgothicneo", "nanumgothic"),
    (0x3000, 0x30FF): ("notosanscjkjp", "yugothic", "meiryo", "hiraginosans", "ipagothic"),
    (0x3100, 0xABFF): (
        "notosanscjksc",
        "notosanscjkjp",
        "microsoftyahei",
        "yugothic",
        "pingfangsc",
    ),
    (0xAC00, 0xD7AF): ("notosanscjkkr", "malgungothic", "applesdgothicneo", "nanumgothic"),
    (0xF900, 0xFFEF): ("notosanscjkjp", "yugothic", "hiraginosans", "microsoftyahei"),
}

#: The marks of direction (UAX 9, explicit and implicit): they are drawn as nothing.
_TURNING = dict.fromkeys((0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)))

#: From here on letters may be written from right to left.
_FIRST_RIGHT_TO_LEFT = "\u0590"


def visual(words: str) -> str:
    """``words`` in the order in which they are drawn from left to right, their letters joined.

    By the bidirectional algorithm of Unicode (UAX 9), with Arabic letters in their forms. Marks of
    direction turn nothing round, on the screen as little as in a terminal.
    """
    if words.isascii() or max(words) < _FIRST_RIGHT_TO_LEFT:
        return words
    return _visual(words)


@lru_cache(maxsize=512)
def _visual(words: str) -> str:
    from arabic_reshaper import reshape
    from bidi.algorithm import get_display

    plain = words.translate(_TURNING)
    # A title in a sentence of ours does not turn the sentence round.
    is_ours = any(letter.isascii() and letter.isalpha() for letter in plain)
    return str(get_display(reshape(plain), base_dir="L" if is_ours else None))


def names_for(letter: str) -> Iterator[str]:
    """The usual names of system faces that have ``letter``."""
    for (first, last), names in SYSTEM_FACES.items():
        if first <= ord(letter) <= last:
            yield from names


def spelled(letter: str) -> str:
    """``letter`` in Latin letters; "?" where it has none."""
    from anyascii import anyascii

    return str(anyascii(letter)).strip() or "?"


def runs(words: str, face_of: Callable[[str], int | None]) -> list[tuple[int, str]]:
    """(face, text): ``words`` cut where the face changes.

    ``face_of`` gives the number of a face that has a letter, None where no face has it.
    """
    faced: list[tuple[int, str]] = []
    for letter in words:
        face = face_of(letter)
        faced.append((0, spelled(letter)) if face is None else (face, letter))
    return [
        (face, "".join(text for _, text in run)) for face, run in groupby(faced, lambda one: one[0])
    ]
