"""Property: who imports whom, read from the source, and what importing costs."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import motioncheck

PACKAGE = Path(motioncheck.__file__).parent
BASE = {"errors", "units", "records", "skeleton", "wording"}
ANALYSIS = {
    "measures",
    "splitting",
    "standards",
    "checks",
    "cleaning",
    "camera",
    "bodyfit",
    "lifting",
    "rules",
    "naming",
    "plans",
}
EVERYTHING = None
# Room -> rooms of ours it may import, as the design draws them; the base is open to all.
# "" is the package itself, which offers the pipeline to programs.
MAY_IMPORT = {
    **{room: BASE for room in BASE},
    "assets": BASE,
    "video": BASE,
    "landmarks": BASE | {"video", "assets"},
    "cleaning": BASE,
    "camera": BASE,
    "lifting": BASE | {"assets"},
    "bodyfit": BASE | {"lifting"},
    "measures": BASE | {"bodyfit", "assets"},
    "splitting": BASE | {"measures"},
    "standards": BASE | {"measures"},
    "checks": BASE | {"measures", "splitting", "standards"},
    "rules": BASE | {"measures", "splitting", "standards"},
    "naming": BASE | {"checks", "measures", "rules", "splitting", "standards"},
    "plans": BASE,
    "sheet": BASE,
    "history": BASE | {"checks", "measures", "sheet", "splitting", "standards"},
    "trends": BASE | {"measures", "standards"},
    "privacy": BASE | {"checks", "history", "landmarks", "sheet", "standards"},
    "pipeline": BASE | ANALYSIS | {"assets", "video", "landmarks", "sheet"},
    "batch": BASE
    | ANALYSIS
    | {"assets", "video", "landmarks", "sheet", "pipeline", "history", "trends"},
    "docpages": EVERYTHING,
    "docstandards": EVERYTHING,
    "cli": EVERYTHING,
    "": EVERYTHING,
}
# Slow or heavy to import; each is loaded inside the function that needs it.
HEAVY = ("av", "cv2", "mediapipe", "scipy.signal", "jinja2", "distributed")
# The modules of the history are made of these; only a command that opens a history imports them.
DATABASE = ("sqlalchemy", "alembic")
# What may be imported without one: the command line, and what every check imports.
WITHOUT_DATABASE = (
    "motioncheck.cli.main",
    "motioncheck.cli.check",
    "motioncheck.cli.session",
    "motioncheck.history",
    "motioncheck.pipeline",
    "motioncheck.trends",
)


def list_modules():
    return sorted(p for p in PACKAGE.rglob("*.py") if "__pycache__" not in p.parts)


def module_name(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def room_of(name):
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else ""


def rooms_imported(tree):
    """Rooms of ours that a module imports anywhere, also inside functions."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            names.add(node.module)
            names |= {f"{node.module}.{a.name}" for a in node.names if node.module == "motioncheck"}
    ours = {n for n in names if n.split(".")[0] == "motioncheck"}
    # `from motioncheck import __version__` names no room.
    return {room_of(n) for n in ours} - {"", "__version__"}


@pytest.mark.parametrize("path", list_modules(), ids=module_name)
def test_a_module_imports_only_rooms_below_its_own(path):
    room = room_of(module_name(path))
    assert room in MAY_IMPORT, f"room {room!r} has no place in the design yet"
    allowed = MAY_IMPORT[room]
    if allowed is EVERYTHING:
        return
    imported = rooms_imported(ast.parse(path.read_text(encoding="utf-8")))
    assert imported <= allowed | {room}


def test_no_two_rooms_import_each_other():
    graph = {}
    for path in list_modules():
        room = room_of(module_name(path))
        tree = ast.parse(path.read_text(encoding="utf-8"))
        graph.setdefault(room, set()).update(rooms_imported(tree) - {room})
    for room, others in graph.items():
        for other in others:
            assert room not in graph.get(other, set()), f"{room} and {other}"


def test_the_rule_would_notice_a_room_imported_against_the_direction():
    tree = ast.parse("def f():\n    from motioncheck.pipeline import check_clip\n")
    assert rooms_imported(tree) == {"pipeline"}
    assert not rooms_imported(tree) <= MAY_IMPORT["measures"]


def test_importing_any_module_loads_no_heavy_library_and_prints_nothing():
    """In a fresh interpreter, a module at a time: the first to load a heavy library is named."""
    names = [module_name(p) for p in list_modules() if p.stem not in ("__main__", "rebuild_bundle")]
    code = (
        "import importlib, json, sys\n"
        f"heavy = {HEAVY!r}\n"
        "loaded = {}\n"
        f"for name in {names!r}:\n"
        "    before = set(sys.modules)\n"
        "    importlib.import_module(name)\n"
        "    new = [h for h in heavy if h in sys.modules and h not in before]\n"
        "    if new:\n"
        "        loaded[name] = new\n"
        "sys.stderr.write(json.dumps(loaded))\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=True
    )
    assert json.loads(done.stderr) == {}
    assert done.stdout == ""


@pytest.mark.parametrize("name", WITHOUT_DATABASE)
def test_who_opens_no_history_loads_no_database(name):
    code = f"import {name}, sys; print([m for m in {DATABASE!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_a_module_stays_short_enough_to_read():
    """At most 400 lines; the catalogue of measures is a list and may be longer."""
    for path in list_modules():
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 400 or path.name == "catalog.py", f"{path.name} has {lines} lines"
