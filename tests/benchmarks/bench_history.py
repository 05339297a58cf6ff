"""How long a large history takes to list and read: 1,000 sessions of one, 200 people x 50 sessions.

Run it from the root of the repository: ``python tests/benchmarks/bench_history.py``; with
``--place URL`` on an empty schema of a PostgreSQL server. Prints the median of five runs, for whole
commands also the processor time: the clock of a busy machine says little.
"""

from __future__ import annotations

import argparse
import datetime
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from history_examples import make_sheet
from sqlalchemy import insert

from motioncheck.history import open_history
from motioncheck.history.measures import aggregate_measures
from motioncheck.history.record import pack_sheet
from motioncheck.history.tables import check_run, clip, measure, person, session
from motioncheck.measures import REGISTRY
from motioncheck.records import Value

RUNS = 5
ONE, CREW, CREW_SESSIONS = 1000, 200, 50
FIRST_DAY = datetime.date(2020, 1, 1)
CHUNK = 2000


def full_sheet():
    """Return a sheet in which every measure has a value, as in a clip that shows all."""
    sheet = make_sheet()
    columns = [column for spec in REGISTRY for column in spec.ids() if spec.compute is not None]
    values = {column: Value(40.0, "deg", 5.0, "body") for column in columns}
    events = tuple(replace(event, measures=values) for event in sheet.events)
    return replace(sheet, events=events)


def fill(history):
    """Write the people, a session a day, a clip and a check each; return the number of rows."""
    sheet = full_sheet()
    rows, packed = aggregate_measures(sheet), pack_sheet(sheet)
    names = [c.name for c in measure.c if c.name not in ("id", "check_id")]
    plain = [{name: getattr(row, name) for name in names} for row in rows]
    wanted = [("one", ONE)] + [(f"crew{n:03d}", CREW_SESSIONS) for n in range(CREW)]
    number = 0
    for person_id, (code, sessions) in enumerate(wanted, start=1):
        ids = range(number + 1, number + sessions + 1)
        history.database.write(
            lambda c, a=person_id, b=code, i=ids: _write_person(c, a, b, i, plain, packed)
        )
        number += sessions
    return number, len(rows)


def _write_person(connection, person_id, code, ids, measures, packed):
    connection.execute(insert(person).values(id=person_id, code=code, added_at="2020"))
    days = [(FIRST_DAY + datetime.timedelta(n)).isoformat() for n in range(len(ids))]
    connection.execute(
        insert(session),
        [
            {"id": i, "person_id": person_id, "name": d, "day": d}
            for i, d in zip(ids, days, strict=True)
        ],
    )
    connection.execute(
        insert(clip),
        [
            {"id": i, "session_id": i, "sha256": f"{i:064x}", "name": "a.mp4", "kept": False,
             "duration_s": 20.0, "width_px": 1080, "height_px": 1920} for i in ids
        ],
    )  # fmt: skip
    connection.execute(
        insert(check_run),
        [
            {"id": i, "clip_id": i, "movement": "air-squat", "event_kind": "rep",
             "recorded_at": f"{d}T10:00:00+00:00", "current": True, "sheet": packed,
             "events": 7, "misses": 2} for i, d in zip(ids, days, strict=True)
        ],
    )  # fmt: skip
    rows = [{"check_id": i, **row} for i in ids for row in measures]
    for start in range(0, len(rows), CHUNK):
        connection.execute(insert(measure), rows[start : start + CHUNK])


def measure_time(what, work):
    """Print the median time of some work and how much it returned."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        found = work()
        times.append(time.perf_counter() - start)
    print(f"{statistics.median(times) * 1000:9.1f} ms  {what} ({len(found)})")


def main():
    """Fill a history and print the times."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--place")
    with tempfile.TemporaryDirectory() as folder:
        place = parser.parse_args().place or str(Path(folder) / "history.db")
        with open_history(place) as history:
            start = time.perf_counter()
            checks, each = fill(history)
            took = time.perf_counter() - start
            print(f"{checks} checks with {each} measures each, written in {took:.0f} s")
            some = ("hip_flexion", "knee_flexion", "thigh_inclination", "trunk_inclination")
            for what, work in (
                ("list_people", history.list_people),
                ("list_person_lines", history.list_person_lines),
                ("list_sessions, 1,000 sessions", lambda: history.list_sessions("one")),
                ("list_sessions, 50 sessions", lambda: history.list_sessions("crew100")),
                ("checks, 1,000 sessions", lambda: history.checks("one")),
                ("checks of everybody", history.checks),
                ("trials of one measure, 1,000", lambda: history.trials("one", measure=some[0])),
                ("trials of one measure, 50", lambda: history.trials("crew100", measure=some[0])),
                ("trials of four measures, 1,000", lambda: history.trials("one", measure=some)),
                ("trials of all measures, 1,000", lambda: history.trials("one")),
                ("trials of all measures, 50", lambda: history.trials("crew100")),
            ):
                measure_time(what, work)
        for words in (
            ("history", "list"),
            ("history", "show", "one"),
            ("trend", "one", "--note", "--out", str(Path(folder) / "one")),
            ("trend", "crew100", "--note", "--out", str(Path(folder) / "crew")),
        ):
            measure_command(*words, "--history", place)


def measure_command(*words):
    """Print the median time of a whole command, by the clock and of the processor."""
    walls, used = [], []
    for _ in range(RUNS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        start = time.perf_counter()
        command = [sys.executable, "-m", "motioncheck.cli.main", *words]
        subprocess.run(command, check=True, capture_output=True)
        walls.append(time.perf_counter() - start)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    wall, cpu = (statistics.median(times) for times in (walls, used))
    print(f"{wall:9.2f} s   {cpu:.2f} s processor: motioncheck {words[0]} {words[1]}")


if __name__ == "__main__":
    main()
