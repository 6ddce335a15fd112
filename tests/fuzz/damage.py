"""A sample with faults in it."""

from functools import cache
from pathlib import Path

from hypothesis import strategies as st

CORPUS = Path(__file__).with_name("corpus")

#: What is put in besides chance: where parsers have stumbled before, here or elsewhere.
WORDS = (
    *(b"\x00", b"\xff", b"\x7f", b"\x80", b"\n", b'"', b"'''", b"[", b"[[", b"]", b"{", b"}", b"="),
    *(
        b"nan",
        b"-1",
        b"1e999",
        b"0",
        b"99999999999999999999",
        b"true",
        b"[]",
        b"{}",
        b'""',
        b"null",
    ),
    *(b"\xed\xb3\xbf", b"\xe2\x80\xae", b"\\ud800", b"\\u0000", b"1979-05-27", b"a.b.c", b"0x1f"),
    *(b"\xff\x51\x03", b"\xff\x2f\x00", b"\xf0", b"\xf7", b"MTrk", b"\x81\x81\x81\x81\x81"),
    *(b"kick", b"(g)", b"x?", b"(x)", b".", b"x", b"bars = [1]\n", b"[[bar]]\n"),
    *(b"[practice]\n", b"meter"),
)


@cache
def samples(kind: str) -> tuple[bytes, ...]:
    """The samples of a kind."""
    return tuple(path.read_bytes() for path in sorted((CORPUS / kind).iterdir()))


@st.composite
def damaged(draw: st.DrawFn, sources: tuple[bytes, ...], most: int = 6) -> bytes:
    """One of ``sources`` with up to ``most`` faults, each small and anywhere."""
    data = bytearray(draw(st.sampled_from(sources)))
    for _ in range(draw(st.integers(0, most))):
        at = draw(st.integers(0, len(data)))
        match draw(st.sampled_from(("other", "gone", "bytes", "word", "again", "cut", "joined"))):
            case "other" if at < len(data):
                data[at] = draw(st.integers(0, 255))
            case "gone":
                del data[at : at + draw(st.integers(1, 40))]
            case "bytes":
                data[at:at] = draw(st.binary(max_size=12))
            case "word":
                data[at:at] = draw(st.sampled_from(WORDS))
            case "again":
                part = data[at : at + draw(st.integers(1, 60))]
                data[at:at] = part * draw(st.integers(1, 30))
            case "cut":
                del data[at:]
            case "joined":
                other = draw(st.sampled_from(sources))
                data[at:] = other[draw(st.integers(0, len(other))) :]
    return bytes(data)
