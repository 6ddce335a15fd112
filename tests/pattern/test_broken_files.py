"""Whatever is wrong in a pattern file is told with its line, its column and what would be right.

In the table a ``§`` stands before the character at which the problem must be told; it is taken
out before the file is read.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.pattern.reader import PatternError, read
from playalong.support.toml.reader import Problem
from tests.helpers import letters

HEAD = 'title = "T"\nmeter = "4/4"\ntempo = 84\n'
BAR = '[[bar]]\nsnare = "x x x x"\n'
ODD = '[[bar]]\nmeter = "3/4"\nsnare = "x x x"\n'


def head(**changed: str) -> str:
    """The head of a file, with other values; an empty one leaves its line out."""
    values = {"title": '"T"', "meter": '"4/4"', "tempo": "84"} | changed
    return "".join(f"{key} = {value}\n" for key, value in values.items() if value)


BROKEN = [
    # The file as TOML. Words and places are those of Python's own reader.
    (HEAD + "[[bar]]\nsnare = §x x x x\n", "Invalid value"),
    (HEAD + "[[bar§]\nsnare = 3\n", "']]'"),
    # The head.
    ("§" + head(title="") + BAR, '"title" is missing: write title = "..."'),
    ("§" + head(meter="") + BAR, '"meter" is missing: write meter = "4/4"'),
    ("§" + head(tempo="") + BAR, '"tempo" is missing: write tempo = 84'),
    (head(title="§7") + BAR, '"title" must be words in quotes'),
    (head(title='"§  "') + BAR, '"title" must be words in quotes'),
    (head(about="§[]") + BAR, '"about" must be words in quotes'),
    (head(meter="§4") + BAR, '"meter" must be a meter in quotes'),
    (head(meter='"§four"') + BAR, '"four" is no meter; write it like "4/4", "12/8" or "2+2+3/8"'),
    (head(meter='"§0/4"') + BAR, '"0/4" is no meter; write it like'),
    (head(meter='"§99/4"') + BAR, '"99/4" is no meter; write it like'),
    (head(meter='"§6/8 in 4"') + BAR, '"6/8 in 4" is no meter; write "6/8 in 2" or "6/8 in 6"'),
    (head(meter='"§2+3/8 in 5"') + BAR, '"2+3/8" says itself how it is counted'),
    (
        HEAD + BAR + "[variation.push]\n[[variation.push.bar]]\nkick = 'x - - -'\n"
        "§[[variation.push.bar]]\nbars = [1]\nkick = 'x - - -'\n",
        "bar 1 is changed above: write all of it in one place",
    ),
    (
        HEAD + BAR + "[variation.push]\n§bars = [1]\n[[variation.push.bar]]\nkick = 'x - - -'\n",
        '"bars" is not known here',
    ),
    (HEAD + BAR + "[variation.push]\nsticking = 'R R §R R'\nsnare = '- - . -'\n", "no hand"),
    (head(meter='"§4"') + BAR, '"4" is no meter; write it like'),
    (head(meter='"§4/3"') + BAR, "the lower number must be 1, 2, 4, 8, 16 or 32"),
    (head(tempo='"§84"') + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§19.9") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§401") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§true") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§nan") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§inf") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(tempo="§1e999999999999999999999") + BAR, '"tempo" must be a number from 20 to 400'),
    (head(swing="§49") + BAR, '"swing" must be a percentage from 50 (straight) to 80'),
    (head(swing='60\nswung = "§thirds"') + BAR, '"swung" must be one of eighths, sixteenths'),
    (head(swing="§80.5") + BAR, '"swing" must be a percentage from 50 (straight) to 80'),
    (
        head(meter='"12/8"', swing="§60") + BAR,
        "swing is for beats of a quarter note; leave it out here",
    ),
    (HEAD + "§tempi = 84\n" + BAR, '"tempi" is not known here; did you mean "tempo"'),
    (HEAD + 'kind = "§gruve"\n' + BAR, '"kind" must be one of groove, fill, exercise, rudiment'),
    (HEAD + 'trains = §["a", "a"]\n' + BAR, "a list of up to 8 things in a few words each"),
    (
        HEAD + "§zzz = 84\n" + BAR,
        "did you mean title, about, kind, trains, meter, tempo, swing, swung, bar",
    ),
    # Bars.
    ("§" + HEAD, "there is no bar: write [[bar]] and a line for each voice"),
    ("§" + HEAD + "bar = []\n", "there is no bar: write [[bar]] and a line for each voice"),
    (HEAD + "§[bar]\nsnare = 'x x x x'\n", "write [[bar]] with two brackets on each side"),
    (HEAD + "§bar = 3\n", "write [[bar]] with two brackets on each side"),
    (HEAD + "§[[bar]]\n", "no bar has a stroke: write a line for each voice"),
    (HEAD + "§[[bar]]\nkick = '- - - -'\n", "no bar has a stroke"),
    (HEAD + BAR + "  §hihat = 'x x x x'\n", '"hihat" is not known here; did you mean "hi-hat"'),
    (HEAD + BAR + "kick = §3\n", '"kick" must be a line of symbols in quotes'),
    (HEAD + BAR + "[[bar]]\nmeter = '§5/6'\n", "the lower number must be"),
    (HEAD + BAR + "[[bar]]\nmeter = §5\n", '"meter" must be a meter in quotes'),
    # Lines.
    (HEAD + BAR + "kick = 'x- §q- x- x-'\n", '"q" is no symbol here; use one of - x X o O g f F'),
    (HEAD + BAR + 'kick  =  "x-  x§q x- x-"\n', '"q" is no symbol here'),
    (HEAD + BAR + "kick = 'x §. x x'\n", '"." is no symbol here'),
    (HEAD + BAR + "kick = 'x §) x x'\n", '")" is no symbol here'),
    (HEAD + BAR + "kick = 'x (§q) x x'\n", '"q" is no symbol here'),
    (HEAD + BAR + "kick = 'x -§(xx) x x'\n", 'brackets hold one stroke, as in "(x)"'),
    (HEAD + BAR + "kick = 'x x §(g) x'\n", 'an optional stroke is written "g?"'),
    (HEAD + BAR + "kick = 'x -§? x x'\n", '"?" goes behind a stroke, as in "x?"'),
    (HEAD + BAR + "kick = 'x x?§? x x'\n", '"?" is no symbol here'),
    (HEAD + BAR + "sticking = 'R§? L R L'\n", '"?" goes behind a stroke'),
    (HEAD + BAR + "kick = 'x x x §('\n", 'brackets hold one stroke, as in "(x)"'),
    (HEAD + BAR + "kick = 'x §(-) x x'\n", 'brackets hold one stroke, as in "(x)"'),
    (HEAD + BAR + "kick = 'x x x§'\n", "4/4 has 4 beats, but this line has 3 groups"),
    (HEAD + BAR + "kick = '§'\n", "4/4 has 4 beats, but this line has 0 groups"),
    (HEAD + BAR + "kick = 'x x x x  §x x'\n", "4/4 has 4 beats, but this line has 6 groups"),
    (
        head(meter='"7/8"') + "[[bar]]\nkick = 'xx xx xxx§'\n",
        'for beats of unequal length write the meter like "2+2+3/8"',
    ),
    (
        head(meter='"2+2+3/8"') + "[[bar]]\nkick = 'xx xx x §x'\n",
        "2+2+3/8 has 3 beats, but this line has 4 groups",
    ),
    (HEAD + BAR + f"kick = 'x §{'-' * 49} x x'\n", "a beat has at most 48 steps, not 49"),
    # Sticking.
    (HEAD + BAR + "sticking = 'R L §x -'\n", '"x" is no symbol here; use one of - R L'),
    (HEAD + BAR + "sticking = 'R §(L) R L'\n", "brackets have no meaning here"),
    (HEAD + BAR + "sticking = 'R L R -§R'\n", "no hand plays here: write -"),
    (HEAD + "[[bar]]\nkick = 'x x x x'\nsticking = '- §R - -'\n", "no hand plays here: write -"),
    (HEAD + BAR + "sticking = 'R L R§'\n", "this line has 3 groups"),
    # Variations.
    (HEAD + "§variation = 3\n" + BAR, "write [variation.NAME] and its lines below"),
    (HEAD + BAR + "[variation]\n§push = 3\n", "write [variation.push] and its lines below"),
    (HEAD + BAR + "§[variation.push]\n", '"push" changes nothing: add a line for a voice'),
    (
        HEAD + BAR + "§[variation.push]\nkick = '- - - -'\n",
        '"push" changes nothing: add a line for a voice',
    ),
    (HEAD + BAR + "[variation.push]\nkick = 'x §q x x'\n", '"q" is no symbol here'),
    (HEAD + BAR + "[variation.push]\nkick = §3\n", '"kick" must be a line of symbols'),
    (HEAD + BAR + "[variation.push]\n§kik = 'x x x x'\n", 'did you mean "kick"'),
    (HEAD + BAR + "[variation.push]\nkick = '- x§. - -'\n", "bar 1 has no kick stroke here"),
    (HEAD + BAR + "[variation.push]\nsnare = '§(.) - - -'\n", "brackets hold"),
    (HEAD + BAR + "[variation.'a.b']\nkick = 'x §q x x'\n", '"q" is no symbol here'),
    (HEAD + BAR + "[variation.push]\nbars = §[2]\nkick = 'x x x x'\n", "bars from 1 to 1, as in"),
    (HEAD + BAR + "[variation.push]\nbars = §[]\nkick = 'x x x x'\n", '"bars" must be a list'),
    (HEAD + BAR + "[variation.push]\nbars = §1\nkick = 'x x x x'\n", '"bars" must be a list'),
    (HEAD + BAR + "[variation.push]\nbars = §[1, 1]\nkick = 'x x x x'\n", '"bars" must be a list'),
    (
        HEAD + BAR + ODD + "[variation.push]\nkick = 'x x x §x'\n",
        "3/4 has 3 beats, but this line has 4 groups",
    ),
    (
        HEAD + BAR + "[[bar]]\nkick = 'x x x x'\n[variation.push]\nsnare = '§. - - -'\n",
        "bar 2 has no snare stroke here to take away",
    ),
    (HEAD + BAR + "[variation.push]\nabout = §3\nkick = 'x x x x'\n", '"about" must be words'),
    # Chunks.
    (HEAD + "§chunk = 3\n" + BAR, "write [[chunk]] with two brackets on each side"),
    (HEAD + BAR + "§[[chunk]]\nfrom = 1\nto = 2\n", '"name" is missing: write name = "..."'),
    (HEAD + BAR + "§[[chunk]]\nname = 'a'\nto = 2\n", '"from" is missing: write from = 1'),
    (HEAD + BAR + "§[[chunk]]\nname = 'a'\nfrom = 2\n", '"to" is missing: write to = 1'),
    (
        HEAD + BAR + "[[chunk]]\nname = 'a'\nfrom = 2\nto = §5\n",
        '"to" must be a whole number from 1 to 4',
    ),
    (
        HEAD + BAR + ODD + "[[chunk]]\nname = 'a'\nbar = 2\nfrom = 2\nto = §4\n",
        '"to" must be a whole number from 1 to 3',
    ),
    (HEAD + BAR + "[[chunk]]\nname = 'a'\nbar = §2\nfrom = 1\nto = 2\n", '"bar" must be 1'),
    (
        HEAD + BAR + "[[chunk]]\nname = 'a'\nfrom = 3\nto = §2\n",
        '"to" must be 3 or more: a chunk runs forward',
    ),
    (
        HEAD + BAR + "[[chunk]]\nname = 'a'\nfrom = 1\nto = 2\n§beat = 3\n",
        '"beat" is not known here; did you mean "bar"',
    ),
    # Practice.
    (HEAD + "§practice = 60\n" + BAR, "write [practice] and its lines below"),
    (HEAD + BAR + "§[practice]\ngoal = 60\n", '"start" is missing: write start = 84'),
    (HEAD + BAR + "§[practice]\nstart = 60\n", '"goal" is missing: write goal = 84'),
    (HEAD + BAR + "[practice]\nstart = 60\ngoal = §10\n", '"goal" must be a number from 20 to 400'),
    (
        HEAD + BAR + "[practice]\nstart = 60.5\ngoal = §60\n",
        '"goal" must be 60.5 or more: practice climbs',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nclean = §0\n",
        '"clean" must be a whole number from 1 to 99',
    ),
    (HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\n§cleen = 3\n", 'did you mean "clean"'),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\npatience = §13\n",
        '"patience" must be a whole number from 4 to 12',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nsuccess = §99\n",
        '"success" must be a percentage from 50 to 95',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nrepeats = §10\n",
        '"repeats" must be a whole number from 0 to 9',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nnext = '§mill-wheel'\n",
        '"next" must be a list of names of patterns',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nleave = §0\n",
        '"leave" must be minutes from 1 to 30',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\nbars = §2\n",
        '"bars" must be a whole number from 4 to 64',
    ),
    (
        HEAD + BAR + "[practice]\nstart = 60\ngoal = 70\ntrial = §1\n",
        '"trial" must be true or false',
    ),
    # Places that are not so plain to find.
    ('title = "a\u2028b"\nmeter = "4/4"\ntempo = §0\n' + BAR, '"tempo" must be'),
    (HEAD + BAR + "[variation]\npush.kick = '§q x x x'\n", '"q" is no symbol here'),
    ((HEAD + BAR + "kick = 'x §q x x'\n").replace("\n", "\r\n"), '"q" is no symbol here'),
]


def problems_of(text: str) -> tuple[Problem, ...]:
    try:
        read(text, "any")
    except PatternError as error:
        return error.problems
    return ()


@pytest.mark.parametrize(("marked", "fragment"), BROKEN)
def test_the_problem_is_told_at_its_place_and_alone(marked: str, fragment: str):
    before, mark, after = marked.partition("§")
    assert mark
    with pytest.raises(PatternError) as caught:
        read(before + after, "broken.toml")
    problems = caught.value.problems
    assert len(problems) == 1, problems
    assert (problems[0].line, problems[0].column) == (
        before.count("\n") + 1,
        len(before.rpartition("\n")[2]) + 1,
    )
    assert fragment in problems[0].message
    assert str(caught.value) == (
        f"broken.toml, line {problems[0].line}, column {problems[0].column}: {problems[0].message}"
    )


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 100_000])
def test_a_file_beyond_what_can_be_held_is_told(value: str):
    with pytest.raises(PatternError, match="too long to be read"):
        read(HEAD + f"x = {value}\n" + BAR, "broken.toml")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HEAD + BAR * 10_001, "line 4, column 1: this file is too large: it has more than 10000"),
        (HEAD + f"[[bar]]\nkick = '{' '.join(['x' * 48] * 4)}'\n" * 131, "more than 25000 strokes"),
        (
            HEAD + BAR * 3 + "".join(f"[variation.a{n}]\nkick = '- - - x'\n" for n in range(6_667)),
            "more than 20000 bars that variations change",
        ),
        # A name in parts: the parser's work grows with the square of them.
        (HEAD + BAR + "a." * 40 + "a = 1\n", "line 6, column 1: a name in more than 32 parts"),
        (HEAD + BAR + "b = {c = 1, " + "a." * 40 + "a = 1}\n", "a name in more than 32 parts"),
        (HEAD + BAR + "[" + "'='." * 40 + "a]\n", "a name in more than 32 parts"),
        # Exact work with so long a number would not end.
        (head(swing="50." + "0" * 400_000 + "1") + BAR, '"swing" must be a percentage'),
    ],
)
def test_what_would_take_long_is_told_at_once(text: str, told: str):
    with pytest.raises(PatternError) as caught:
        read(text, "large.toml")
    assert len(caught.value.problems) == 1
    assert told in str(caught.value)


def test_what_a_message_quotes_is_not_as_long_as_the_file():
    (problem,) = problems_of(HEAD + BAR + "k" * 100_000 + " = 1\n")
    assert len(problem.message) < 500


def test_many_faults_are_all_told():
    bars = '[[bar]]\nsnare = "x q x x"\nkik = "x x x x"\n' * 10_000
    problems = problems_of(HEAD + bars)
    assert len(problems) == 20_000
    assert problems[-1].line == 3 + 3 * 10_000


def test_a_file_that_ends_too_soon_is_told_at_its_last_line():
    with pytest.raises(PatternError) as caught:
        read(HEAD + '[[bar]]\nsnare = "x x', "broken.toml")
    assert caught.value.problems[0].line == 5


def test_all_problems_are_told_at_once_and_in_order():
    text = (
        'title = "T"\n'
        'meter = "4/4"\n'
        "tempo = 4\n"
        "[[bar]]\n"
        'snare = "x x x"\n'
        'kick = "x q x x"\n'
        "[[bar]]\n"
        'hihat = "x x x x"\n'
        "[variation.push]\n"
        'kick = "x x x x x"\n'
        "[[chunk]]\n"
        'name = "a"\n'
        "from = 9\n"
        "to = 9\n"
        "[practice]\n"
        "start = 90\n"
    )
    with pytest.raises(PatternError) as caught:
        read(text, "broken.toml")
    lines = [problem.line for problem in caught.value.problems]
    assert lines == [3, 5, 6, 8, 10, 13, 14, 15]
    assert len(str(caught.value).splitlines()) == len(lines)


def test_one_wrong_symbol_in_a_line_brings_no_further_problems():
    """What hangs on the strokes of a broken line is not held against the writer."""
    text = (
        HEAD
        + '[[bar]]\nhi-hat = "xq xx xx xx"\nsticking = "RL RL RL RL"\n'
        + '[variation.thin]\nhi-hat = ".- -- -- --"\n'
    )
    with pytest.raises(PatternError) as caught:
        read(text, "broken.toml")
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [(5, 12)]


def test_a_mark_that_some_editors_put_first_is_passed_over():
    assert read("\ufeff" + HEAD + BAR, "t") == read(HEAD + BAR, "t")


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.sampled_from([*HEAD.splitlines(True), *BAR.splitlines(True), *ODD.splitlines(True)])
        | st.sampled_from(["[variation.a]\n", "[[chunk]]\n", "[practice]\n", "[variation]\n"])
        | st.sampled_from(["bars = [1]\n", "start = 3\n", "name = 3\n", "swing = nan\n"])
        | st.text(letters.ANY, max_size=12),
        max_size=9,
    )
)
def test_no_file_makes_it_stumble(parts: list[str]):
    text = "".join(parts)
    problems = problems_of(text)
    for problem in problems:
        assert 1 <= problem.line <= text.count("\n") + 1
        assert problem.column >= 1
        assert problem.message
    assert problems or any(bar.strokes for bar in read(text, "any").bars)
