"""What of a pattern no other format has a place for, in words."""

from playalong.pattern.model import Pattern


def left_out(pattern: Pattern) -> list[str]:
    """What is missing in a file of it, whatever the format."""
    optional = any(stroke.optional for bar in pattern.bars for stroke in bar.strokes)
    rolls = any(stroke.roll for bar in pattern.bars for stroke in bar.strokes)
    parts = {
        "how long rolls last is left out, or they are written out as strokes": rolls,
        "optional strokes stand like all others": optional,
        "variations that --variation does not name are left out": bool(pattern.variations),
        "chunks and what is asked of a lesson are left out": bool(
            pattern.chunks or pattern.practice
        ),
        "what the pattern is about is left out": bool(pattern.about or pattern.trains),
    }
    return [words for words, is_so in parts.items() if is_so]
