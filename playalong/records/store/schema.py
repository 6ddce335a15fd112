"""What is in the store, version by version.

``MIGRATIONS[n]`` makes version n + 1 out of version n; the file tells its version in SQLite's
``user_version``. What a version has made is never changed here, only added to: somebody's file
is at every one of them.

* ``player``: somebody by a name of their choice. Simulated players have a store of their own.
* ``kit``, ``profile``: the profile of a player on a kit, as the text of its TOML file.
* ``pattern``: by its fingerprint, with the text as it was.
* ``run``: one run, and the figures that it came to. ``state`` is "going", "kept" or "thrown away";
  ``alive_s`` (seconds since 1970) is when a run that goes on last said so, ``process`` which
  program plays it; ``pending`` is 1 where a take came from a file and has not been graded yet.
* ``body``: what is large of a run, so that lists need not read it: its settings (``info``, a JSON
  object: what its take says of itself), the take as a Standard MIDI File, the grade and its hits.
  Columns of these names in ``run`` are empty since version 3.
* ``message``: the raw messages of a run that goes on, in portions, until its take is there.
* ``finding``: the findings of a grade, the first of rank 0.
* ``lesson``: how far a player has come with a pattern. ``setting``: a value by its name, for one
  player or (player 0) for all.
* ``imported``: which files of earlier versions were taken in.
* ``day``: what the kept runs of a player come to on one day with one pattern ("" for none), so that
  days and weeks need not read every run: how many have a figure, and their sum. Triggers keep it: a
  run that is kept, changed or gone has its day added up anew.
"""

from collections.abc import Iterator
from sqlite3 import complete_statement

#: Adds up the day of the run that a trigger knows by the name that is put in.
_ADD_UP = """
        DELETE FROM day WHERE player = {0}.player AND pattern = coalesce({0}.pattern, '')
            AND first = substr({0}.began, 1, 10);
        INSERT INTO day SELECT player, coalesce(pattern, ''), substr(began, 1, 10), count(*),
            total(seconds), max(tempo_bpm), count(score), total(score), max(score),
            count(spread_ms), total(spread_ms), count(contrast_db), total(contrast_db),
            count(steadiness_ms), total(steadiness_ms)
            FROM run WHERE state = 'kept' AND player = {0}.player
            AND coalesce(pattern, '') = coalesce({0}.pattern, '')
            AND substr(began, 1, 10) = substr({0}.began, 1, 10) GROUP BY 1, 2, 3;
"""

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE player (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        level TEXT NOT NULL DEFAULT '',
        left_handed INTEGER NOT NULL DEFAULT 0,
        since TEXT NOT NULL
    );
    CREATE TABLE kit (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
    CREATE TABLE profile (
        player INTEGER NOT NULL REFERENCES player ON DELETE CASCADE,
        kit INTEGER NOT NULL REFERENCES kit,
        text TEXT NOT NULL,
        changed TEXT NOT NULL,
        PRIMARY KEY (player, kit)
    ) WITHOUT ROWID;
    CREATE TABLE pattern (
        fingerprint TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        title TEXT NOT NULL,
        text TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        uid TEXT NOT NULL UNIQUE,
        player INTEGER NOT NULL REFERENCES player ON DELETE CASCADE,
        kit INTEGER REFERENCES kit,
        pattern TEXT REFERENCES pattern,
        kind TEXT NOT NULL,
        program TEXT NOT NULL,
        began TEXT NOT NULL,
        began_s REAL NOT NULL,
        seconds REAL,
        state TEXT NOT NULL,
        alive_s REAL NOT NULL,
        info TEXT NOT NULL,
        take BLOB,
        file TEXT,
        grade TEXT,
        hits BLOB,
        score REAL,
        tempo_bpm REAL,
        bars INTEGER,
        spread_ms REAL,
        contrast_db REAL,
        steadiness_ms REAL,
        advice TEXT
    );
    CREATE INDEX run_of_player ON run (player, began_s);
    CREATE INDEX run_of_pattern ON run (player, pattern, began_s);
    CREATE INDEX run_going ON run (state) WHERE state = 'going';
    CREATE TABLE message (
        run INTEGER NOT NULL REFERENCES run ON DELETE CASCADE,
        portion INTEGER NOT NULL,
        data BLOB NOT NULL,
        PRIMARY KEY (run, portion)
    ) WITHOUT ROWID;
    CREATE TABLE finding (
        run INTEGER NOT NULL REFERENCES run ON DELETE CASCADE,
        rank INTEGER NOT NULL,
        code TEXT NOT NULL,
        voice TEXT,
        limb TEXT,
        places TEXT NOT NULL,
        n INTEGER,
        of INTEGER,
        value REAL,
        unit TEXT NOT NULL,
        gain REAL NOT NULL,
        text TEXT NOT NULL,
        PRIMARY KEY (run, rank)
    ) WITHOUT ROWID;
    CREATE TABLE lesson (
        player INTEGER NOT NULL REFERENCES player ON DELETE CASCADE,
        pattern TEXT NOT NULL REFERENCES pattern,
        name TEXT NOT NULL,
        plain TEXT NOT NULL,
        changed TEXT NOT NULL,
        PRIMARY KEY (player, pattern)
    ) WITHOUT ROWID;
    CREATE TABLE setting (
        player INTEGER NOT NULL,
        name TEXT NOT NULL,
        value TEXT NOT NULL,
        PRIMARY KEY (player, name)
    ) WITHOUT ROWID;
    CREATE TABLE imported (path TEXT PRIMARY KEY, date TEXT NOT NULL, player INTEGER) WITHOUT ROWID;
    """,
    """
    ALTER TABLE run ADD COLUMN process TEXT NOT NULL DEFAULT '';
    ALTER TABLE run ADD COLUMN pending INTEGER NOT NULL DEFAULT 0;
    CREATE INDEX run_pending ON run (player) WHERE pending = 1;
    CREATE INDEX run_of_file ON run (file);
    """,
    """
    CREATE TABLE body (
        run INTEGER PRIMARY KEY REFERENCES run ON DELETE CASCADE,
        info TEXT NOT NULL,
        take BLOB,
        grade TEXT,
        hits BLOB
    );
    INSERT INTO body SELECT id, info, take, grade, hits FROM run;
    UPDATE run SET info = '', take = NULL, grade = NULL, hits = NULL;
    CREATE INDEX run_best ON run (player, pattern, score);
    """,
    """
    CREATE INDEX run_score ON run (player, score);
    """,
    f"""
    CREATE TABLE day (
        player INTEGER NOT NULL REFERENCES player ON DELETE CASCADE,
        pattern TEXT NOT NULL,
        first TEXT NOT NULL,
        runs INTEGER NOT NULL,
        seconds REAL NOT NULL,
        tempo_bpm REAL,
        scores INTEGER NOT NULL,
        score REAL NOT NULL,
        best_score REAL,
        spreads INTEGER NOT NULL,
        spread_ms REAL NOT NULL,
        contrasts INTEGER NOT NULL,
        contrast_db REAL NOT NULL,
        steadies INTEGER NOT NULL,
        steadiness_ms REAL NOT NULL,
        PRIMARY KEY (player, first, pattern)
    ) WITHOUT ROWID;
    CREATE INDEX run_of_day ON run (player, substr(began, 1, 10), coalesce(pattern, ''));
    INSERT INTO day SELECT player, coalesce(pattern, ''), substr(began, 1, 10), count(*),
        total(seconds), max(tempo_bpm), count(score), total(score), max(score),
        count(spread_ms), total(spread_ms), count(contrast_db), total(contrast_db),
        count(steadiness_ms), total(steadiness_ms)
        FROM run WHERE state = 'kept' GROUP BY 1, 2, 3;
    CREATE TRIGGER day_of_new_run AFTER INSERT ON run WHEN new.state = 'kept' BEGIN
{_ADD_UP.format("new")}
    END;
    CREATE TRIGGER day_of_lost_run AFTER DELETE ON run
        WHEN old.state = 'kept' AND EXISTS (SELECT 1 FROM player WHERE id = old.player) BEGIN
{_ADD_UP.format("old")}
    END;
    CREATE TRIGGER day_of_run AFTER UPDATE OF player, pattern, began, seconds, state, score,
        tempo_bpm, spread_ms, contrast_db, steadiness_ms ON run
        WHEN old.state = 'kept' OR new.state = 'kept' BEGIN
{_ADD_UP.format("old")}
{_ADD_UP.format("new")}
    END;
    DROP INDEX run_score;
    CREATE INDEX run_score ON run (player, score, began_s);
    DROP INDEX run_best;
    CREATE INDEX run_best ON run (player, pattern, score, began_s);
    """,
)

#: The version of the store that this program writes.
VERSION = len(MIGRATIONS)


def statements(script: str) -> Iterator[str]:
    """The statements of a migration, one by one: in a trigger's there are semicolons too."""
    statement = ""
    for part in script.split(";")[:-1]:
        statement += f"{part};"
        if complete_statement(statement):
            yield statement
            statement = ""
