"""Makes the builders beside the tests importable from the folders below, and sets up hypothesis.

Examples are the same in every run; `--hypothesis-profile=search` draws new ones. No test touches
the history of who runs it. Tests of the history run on SQLite and on a real PostgreSQL server.
"""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# No time limit for one example: the machine may be busy.
settings.register_profile("default", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile("default")

GIVEN_SERVER = "MOTIONCHECK_TEST_POSTGRES"
SERVER_NEEDED = "MOTIONCHECK_NEED_POSTGRES"


@pytest.fixture(autouse=True)
def own_history(monkeypatch, tmp_path_factory):
    """Point the default history to a file that is not there and belongs to this test alone."""
    home = tmp_path_factory.getbasetemp() / "histories" / os.urandom(8).hex()
    monkeypatch.setenv("MOTIONCHECK_HISTORY", str(home / "history.db"))
    # Where copies of clips go that belong to a history on a server.
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))


@pytest.fixture(scope="session")
def postgres_server():
    """Start a server; skip where there is none, unless the environment asks for it."""
    from postgres_server import GivenServer, Server, find_programs

    given, programs = os.environ.get(GIVEN_SERVER), find_programs()
    if not given and programs is None:
        reason = "no PostgreSQL server is installed (Debian: apt-get install postgresql)"
        if os.environ.get(SERVER_NEEDED):
            pytest.fail(f"{SERVER_NEEDED} is set, yet {reason}")
        pytest.skip(reason)
    server = GivenServer(given) if given else Server(programs)
    yield server
    server.stop()


@pytest.fixture(params=["sqlite", "postgresql"])
def history_place(request, tmp_path):
    """Return the place of a history that is not there yet: a path, or a URL of an empty schema."""
    if request.param == "sqlite":
        yield str(tmp_path / "store" / "history.db")
        return
    server = request.getfixturevalue("postgres_server")
    from postgres_server import empty_history

    with empty_history(server) as url:
        yield url
