"""Histories of older programs are brought up to date with what is in them; newer ones refused."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from history_examples import dump, make_sheet

from motioncheck.errors import StoreError
from motioncheck.history import open_history, place, upgrade
from motioncheck.history.engine import Database, make_engine
from motioncheck.history.record import pack_sheet
from motioncheck.history.tables import METADATA

# What revision 0001 knew, written as a program of that time wrote it.
FIRST_ROWS = (
    ("person", {"id": 7, "code": "seat3", "name": "O'Neill %s", "birth_year": 1990, "sex": "female",
                "stature_m": 1.74, "notes": "left knee", "added_at": "2026-03-01T08:00:00+00:00"}),
    ("plan", {"id": 2, "sha256": "ab" * 32, "name": "warm-up.toml", "text": "title = 1"}),
    ("session", {"id": 3, "person_id": 7, "name": "week 1", "day": "2026-03-01", "plan_id": 2}),
    ("clip", {"id": 4, "session_id": 3, "sha256": make_sheet().clip.sha256, "name": "a.mp4",
              "path": "a.mp4", "kept": False, "duration_s": 20.0, "width_px": 1080,
              "height_px": 1920}),
    ("check_run", {"id": 5, "clip_id": 4, "movement": "air-squat", "title": "Air squat",
                   "event_kind": "rep", "view": "right side", "azimuth_deg": -84.0,
                   "model": "full", "model_sha256": "ab" * 32, "standard_hash": "cd" * 32,
                   "program_version": "0.1.0", "calibration": "", "athlete": "", "folder": "",
                   "recorded_at": "2026-03-01T09:00:00+00:00", "current": True,
                   "sheet": pack_sheet(make_sheet())}),
    *(("event", {"check_id": 5, "kind": "rep", "number": n, "side": "both", "start_s": 1.0 * n,
                 "turn_s": n + 0.4, "end_s": n + 0.9}) for n in (1, 2, 3)),
    *(("finding", {"check_id": 5, "event_kind": "rep", "event_number": n, "check_name": "depth",
                   "measure": "thigh_inclination", "side": "right", "verdict": verdict,
                   "value": 4.0, "threshold": 5.0, "comparison": "at most", "uncertainty": 5.0})
      for n, verdict in ((1, "meets"), (2, "misses"), (3, "misses"))),
    ("measure", {"check_id": 5, "measure": "thigh_inclination", "side": "right", "moment": "turn",
                 "unit": "deg", "count": 3, "mean": 4.0, "lowest": 3.0, "highest": 5.0, "sd": 1.0,
                 "mean_of_first": 4.0, "uncertainty": 5.0, "source": "image"}),
    ("range_result", {"check_id": 5, "measure": "hip_flexion", "side": "left", "moment": "turn",
                      "best_is": "highest", "trials": 3, "best": 124.0}),
)  # fmt: skip
# Corrections came with revision 0002, which did not yet say whose check they are about.
_CORRECTION = {"clip_sha256": make_sheet().clip.sha256, "movement": "air-squat", "kind": "note",
               "event_kind": "rep", "side": "both", "text": "barefoot", "author": "coach",
               "made_at": "2026-03-02T08:00:00+00:00"}  # fmt: skip
SECOND_ROWS = (
    *((name, row | {"events": 3, "misses": 2} if name == "check_run" else row)
      for name, row in FIRST_ROWS),
    ("correction", {"id": 1, **_CORRECTION}),
)  # fmt: skip
ROWS = {"0001": FIRST_ROWS, "0002": SECOND_ROWS}


def make_old(where, revision):
    """Make a history of an older revision and fill it by SQL that knows nothing of today."""
    from sqlalchemy import column, insert, table

    database = Database(place.find_place(where))
    upgrade.prepare(database, revision=revision)
    with database.engine.begin() as connection:
        for name, row in ROWS[revision]:
            connection.execute(insert(table(name, *map(column, row))).values(**row))
    database.close()


@pytest.mark.parametrize("revision", [r for r in upgrade.REVISIONS if r != upgrade.HEAD])
def test_every_older_revision_is_brought_up_to_date_with_its_rows(history_place, revision):
    make_old(history_place, revision)
    with open_history(history_place) as history:
        person = history.get_person("seat3")
        assert (person.name, person.birth_year, person.notes) == ("O'Neill %s", 1990, "left knee")
        (session,) = history.list_sessions("seat3")
        assert (session.name, session.day, session.plan) == ("week 1", "2026-03-01", "title = 1")
        (check,) = history.checks("seat3")
        # Counted by the migration: three events, two findings that are misses.
        assert (check.id, check.events, check.misses) == (5, 3, 2)
        assert history.sheet_of(5) == make_sheet()
        (trial,) = history.trials("seat3")
        assert (trial.mean, trial.sd, trial.day) == (4.0, 1.0, "2026-03-01")
        told = [(c.text, c.person) for c in history.corrections("seat3")]
        assert told == ([] if revision == "0001" else [("barefoot", "seat3")])
        # The numbers go on where they were, and the same check is known.
        again = history.record(make_sheet(), person="seat3", session="week 1")
        assert (again.check_id, again.status) == (5, "known")


def test_a_correction_of_a_clip_that_two_people_have_stays_with_both(history_place):
    make_old(history_place, "0002")
    database = Database(place.find_place(history_place))
    with database.engine.begin() as connection:
        for statement in (
            "INSERT INTO person (id, code, added_at) VALUES (8, 'seat4', '2026')",
            "INSERT INTO session (id, person_id, name, day) VALUES (9, 8, 'a', '2026-03-01')",
            "INSERT INTO clip (session_id, sha256, kept, duration_s, width_px, height_px) "
            "SELECT 9, sha256, kept, 1, 1, 1 FROM clip",
        ):
            connection.exec_driver_sql(statement)
    database.close()
    with open_history(history_place) as history:
        for code in ("seat3", "seat4"):
            assert [(c.text, c.person) for c in history.corrections(code)] == [("barefoot", "")]


@pytest.mark.parametrize("revision", sorted(ROWS))
def test_rows_can_be_added_to_a_history_that_was_brought_up_to_date(tmp_path, revision):
    make_old(tmp_path / "h.db", revision)
    with open_history(tmp_path / "h.db") as history:
        assert history.record(make_sheet("b"), person="seat3", session="week 1").status == "new"
        assert len(history.checks("seat3")) == 2


def test_opening_twice_changes_nothing(history_place):
    with open_history(history_place) as history:
        history.record(make_sheet(), person="seat3")
        before = dump(history)
    with open_history(history_place) as history:
        assert dump(history) == before


# The index on an expression, which cannot be compared by reflection, has a test of its own below.
@pytest.mark.filterwarnings("ignore:Skipped unsupported reflection")
@pytest.mark.filterwarnings("ignore:autogenerate skipping")
def test_the_scripts_make_exactly_the_tables_the_program_uses(history_place):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with open_history(history_place) as history, history.database.reading() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": upgrade.VERSION_TABLE, "compare_type": True}
        )
        found = [d for d in compare_metadata(context, METADATA) if "any_case" not in str(d)]
    assert found == []


def test_the_revisions_listed_are_the_scripts_there_are():
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(upgrade.__file__).parent / "migrations"))
    scripts = ScriptDirectory.from_config(config)
    assert tuple(s.revision for s in scripts.walk_revisions())[::-1] == upgrade.REVISIONS
    assert scripts.get_heads() == [upgrade.HEAD]


def set_revision(where, revision):
    database = Database(place.find_place(where))
    with database.engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE {upgrade.VERSION_TABLE} SET version_num='{revision}'")
    database.close()


def test_a_history_of_a_newer_program_is_refused_and_left_as_it_is(history_place):
    with open_history(history_place) as history:
        history.record(make_sheet(), person="seat3")
        before = dump(history)
    set_revision(history_place, "0099")
    with pytest.raises(StoreError, match=r"found 0099: a newer version of this program") as failure:
        open_history(history_place)
    assert failure.value.exit_code == 7
    set_revision(history_place, upgrade.HEAD)
    with open_history(history_place) as history:
        assert dump(history) == before


def test_a_migration_that_breaks_off_leaves_the_old_revision(history_place, monkeypatch):
    make_old(history_place, "0001")
    database = Database(place.find_place(history_place))
    whole = upgrade._migrate

    def breaks_off(connection, revision):
        whole(connection, revision)
        raise RuntimeError("pulled the plug")

    monkeypatch.setattr(upgrade, "_migrate", breaks_off)
    with pytest.raises(RuntimeError, match="pulled the plug"):
        upgrade.prepare(database)
    monkeypatch.undo()
    from sqlalchemy import inspect

    with database.reading() as connection:
        assert "correction" not in inspect(connection).get_table_names()
        revision = connection.exec_driver_sql(f"SELECT version_num FROM {upgrade.VERSION_TABLE}")
        assert revision.scalar() == "0001"
    database.close()
    with open_history(history_place) as history:
        assert history.checks("seat3")[0].misses == 2


def test_rows_without_a_parent_stop_a_migration(tmp_path):
    path = tmp_path / "h.db"
    make_old(path, "0001")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE clip SET session_id = 99")
        raw.commit()
    with pytest.raises(StoreError, match="it was left as it was"):
        open_history(path)
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("SELECT version_num FROM history_version").fetchone() == ("0001",)


OPEN = "import sys; from motioncheck.history import open_history; open_history(sys.argv[1]).close()"


@pytest.mark.parametrize("revision", ["", "0001"])
def test_programs_that_open_a_history_at_once_all_succeed(history_place, revision):
    if revision:
        make_old(history_place, revision)
    programs = [
        subprocess.Popen(
            [sys.executable, "-c", OPEN, history_place], stderr=subprocess.PIPE, text=True
        )
        for _ in range(3)
    ]
    ends = [(p.communicate(timeout=60)[1], p.returncode) for p in programs]
    assert ends == [("", 0)] * 3
    with open_history(history_place) as history:
        assert len(history.list_people()) == (1 if revision else 0)


def test_codes_that_differ_by_capitals_only_are_refused_by_the_database_too(history_place):
    from sqlalchemy.exc import IntegrityError

    with open_history(history_place) as history:
        engine = make_engine(history.database.url, keep=False)
        row = "INSERT INTO person (code, added_at) VALUES ('{}', '2026')"
        with engine.begin() as connection:
            connection.exec_driver_sql(row.format("seat3"))
        with pytest.raises(IntegrityError), engine.begin() as connection:
            connection.exec_driver_sql(row.format("SEAT3"))
        engine.dispose()
