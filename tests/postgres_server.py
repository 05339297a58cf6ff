"""A PostgreSQL server of our own for the tests: made in a temporary folder, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
import uuid
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import make_url

START_S = 60.0
NEEDED = ("initdb", "postgres")


def find_programs():
    """Return the folder with the programs of the newest server that is installed, or None."""
    debian = sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name), reverse=True
    )
    on_path = [Path(found).resolve().parent for found in [shutil.which("initdb")] if found]
    for folder in [*debian, *on_path]:
        if all(os.access(folder / name, os.X_OK) for name in NEEDED):
            return folder
    return None


class Server:
    """A running server that listens on a socket in its own folder only."""

    def __init__(self, programs):
        self.folder = Path(tempfile.mkdtemp(prefix="mc-pg-"))
        self._as_user = {}
        if os.geteuid() == 0:
            # The server refuses to run as root.
            nobody = pwd.getpwnam("nobody")
            os.chown(self.folder, nobody.pw_uid, nobody.pw_gid)
            self._as_user = {
                "user": nobody.pw_uid,
                "group": nobody.pw_gid,
                "extra_groups": [],
            }
        data, log = self.folder / "data", self.folder / "log"
        try:
            subprocess.run(
                [
                    *(programs / "initdb", "--pgdata", data, "--username", "postgres"),
                    *("--auth", "trust", "--encoding", "UTF8", "--locale", "C", "--no-sync"),
                ],
                check=True, capture_output=True, cwd=self.folder, **self._as_user,
            )  # fmt: skip
            with log.open("wb") as stream:
                self._process = subprocess.Popen(
                    [
                        *(programs / "postgres", "-D", data, "-k", self.folder),
                        *("-c", "listen_addresses=", "-c", "max_connections=40"),
                        *("-c", "fsync=off"),
                    ],
                    stdout=stream, stderr=stream, cwd=self.folder, **self._as_user,
                )  # fmt: skip
            self._wait(log)
        except BaseException:
            self.stop()
            raise

    @property
    def url(self):
        """The URL of the database that all tests share."""
        return f"postgresql+psycopg://postgres@/postgres?host={self.folder}"

    def _wait(self, log):
        import psycopg

        until = time.monotonic() + START_S
        while True:
            try:
                run_sql(self.url, "SELECT 1")
                return
            except psycopg.OperationalError:
                if self._process.poll() is not None or time.monotonic() > until:
                    raise RuntimeError(log.read_text(errors="replace")) from None
                time.sleep(0.05)

    def stop(self):
        """Stop the server and remove its folder."""
        process = getattr(self, "_process", None)
        if process is not None and process.poll() is None:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)


class GivenServer:
    """A server that somebody else started and stops."""

    def __init__(self, url):
        self.url = url

    def stop(self):
        """Leave it running."""


@contextmanager
def empty_history(server):
    """Give the URL of an empty schema, which costs less than a database of its own."""
    name = f"motioncheck_{uuid.uuid4().hex}"
    run_sql(server.url, f"CREATE SCHEMA {name}")
    url = make_url(server.url).update_query_dict({"options": f"-csearch_path={name}"})
    yield url.render_as_string(hide_password=False)
    run_sql(server.url, f"DROP SCHEMA {name} CASCADE")


def run_sql(url, statement):
    """Run one statement outside of a transaction."""
    import psycopg

    parts = make_url(url)
    with psycopg.connect(
        host=parts.query.get("host", parts.host), port=parts.port, user=parts.username,
        password=parts.password, dbname=parts.database, autocommit=True,
    ) as connection:  # fmt: skip
        connection.execute(statement)
