"""
The databases that tests open: a file copied for each, or a PostgreSQL brought up for the run.

Tests that open a book run on both (`tests/conftest.py` says which pages' do). PostgreSQL's programs are the system's package
(LYCHGATE_TEST_POSTGRES names their folder, where it is not on PATH or where Debian puts it); without them the tests
fail, so that nobody takes a run that skipped them for one that passed.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any

import psycopg

from demo.fill import fill
from server.book.crews import first_crew
from server.book.store import Book
from server.book.tables import Table
from server.settings import DATABASE_FILE, Settings

PROGRAMS = ("initdb", "pg_ctl", "postgres")


def programs() -> Path:
    """The folder of PostgreSQL's own programs."""
    found = shutil.which("initdb")
    asked = os.environ.get("LYCHGATE_TEST_POSTGRES")
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda each: int(each.parent.name.split(".")[0]))
    others = [Path("/usr/libexec/postgresql"), Path("/usr/local/pgsql/bin")]
    for folder in [Path(asked)] if asked else [*debian[::-1], *([Path(found).parent] if found else []), *others]:
        if all((folder / name).exists() for name in PROGRAMS):
            return folder
    raise RuntimeError(
        "PostgreSQL's programs are not here; install the system's package postgresql, or name their folder in "
        "LYCHGATE_TEST_POSTGRES"
    )


class Postgres:
    """
    A server of its own, in a temporary folder, on a socket there and no network. Nothing of it outlives the tests, so
    by default it does not wait for the disk.
    """

    def __init__(self, *, durable: bool = False) -> None:
        self._programs = programs()
        self.folder = Path(tempfile.mkdtemp(prefix="lychgate-pg-"))
        self._user = _who_may_run_it()
        if self._user is not None:
            os.chown(self.folder, pwd.getpwnam(self._user).pw_uid, -1)
        self.data = self.folder / "data"
        # C: no language of this machine's in its messages or in how it sorts.
        self._run("initdb", "-A", "trust", "-U", "lychgate", "-E", "UTF8", "--locale=C", "-N", "-D", str(self.data))
        said = {
            "listen_addresses": "", "unix_socket_directories": str(self.folder), "max_connections": "200",
            "shared_buffers": "64MB",
        }  # fmt: skip
        if not durable:
            said |= {"fsync": "off", "full_page_writes": "off", "synchronous_commit": "off"}
        with (self.data / "postgresql.conf").open("a") as conf:
            conf.writelines(f"{name} = '{value}'\n" for name, value in said.items())
        self.start()
        self._names = (f"of_a_test_{number}" for number in count(1))

    def _run(self, program: str, *arguments: str) -> None:
        # To a file: the server keeps what it was started with, and a pipe would stay open as long as it.
        with (self.folder / "said.txt").open("a+") as said:
            done = subprocess.run(
                [str(self._programs / program), *arguments],
                stdout=said, stderr=said, stdin=subprocess.DEVNULL, user=self._user, cwd="/", check=False,
            )  # fmt: skip
            said.seek(0)
            assert done.returncode == 0, f"{program}: {said.read()[-2000:]}"

    def start(self) -> None:
        self._run("pg_ctl", "-w", "-D", str(self.data), "-l", str(self.folder / "log.txt"), "start")

    def stop(self, how: str = "fast") -> None:
        self._run("pg_ctl", "-w", "-D", str(self.data), "-m", how, "stop")

    def remove(self) -> None:
        self.stop("immediate")
        shutil.rmtree(self.folder)

    def url(self, database: str) -> str:
        return f"postgresql://lychgate@/{database}?host={self.folder}"

    def ask(self, question: str, database: str = "postgres") -> list[tuple[object, ...]]:
        with psycopg.connect(self.url(database), autocommit=True) as connection:
            asked = connection.execute(question)  # type: ignore[call-overload]
            return asked.fetchall() if asked.description else []

    def new(self, template: str) -> str:
        """Another database, a copy of one that nobody is connected to."""
        name = next(self._names)
        self.ask(f"create database {name} template {template}")
        return name


def _who_may_run_it() -> str | None:
    """PostgreSQL refuses to be run by root; the package brings somebody for that."""
    if os.geteuid() != 0:
        return None
    names = {each.pw_name for each in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


class Books:
    """
    Books to try things on: `bare`, with tables alone; `empty`, with the first crew; `demo`, with the demo in it. Each
    was made once, and is copied.
    """

    def __init__(self, folder: Path, postgres: Postgres | None = None) -> None:
        self._folder = folder
        self.postgres = postgres
        if postgres is not None:
            postgres.ask("create database made")
        for name in ("bare", "empty", "demo"):
            book = Book(settings_of(folder / name, postgres and postgres.url("made")))
            book.migrate()
            if name != "bare":
                with book.writing() as session:
                    first_crew(session)  # else every application's first act is to make it, and to wait for the disk
            if name == "demo":
                fill(book, datetime.now(UTC))
            book.close()
            if postgres is not None:
                postgres.ask(f"create schema {name}", "made")
                for table in TABLES:
                    postgres.ask(f'create table {name}."{table}" as table public."{table}"', "made")
        if postgres is not None:
            postgres.ask(PUT_BACK, "made")

    def nothing(self, data: Path) -> Settings:
        """Settings of a book that has not even tables."""
        return settings_of(data, self.postgres and self.postgres.url(self.postgres.new("template0")))

    def new(self, data: Path, *, open_here: bool = False) -> Settings:
        """Settings of a book that is to be a copy."""
        url = None
        if self.postgres is not None:
            url = self.postgres.url(self.postgres.new("made"))
        return replace(settings_of(data, url), open_here=open_here)

    def copy(self, name: str, settings: Settings) -> None:
        """Have the book of these settings be a copy."""
        if self.postgres is not None:
            # Some milliseconds; another copy of a whole database takes a quarter of a second.
            self.postgres.ask(f"select public.put_back('{name}')", str(settings.url.database))
            return
        shutil.rmtree(settings.data, ignore_errors=True)
        settings.data.mkdir()
        shutil.copy(self._folder / name / DATABASE_FILE, settings.data)

    def over(self, settings: Settings) -> None:
        """Let go of it."""
        if self.postgres is not None:
            self.postgres.ask(f"drop database if exists {settings.url.database} with (force)")


TABLES = [table.name for table in Table.metadata.sorted_tables]
PUT_BACK = f"""
create function public.put_back(name text) returns void language plpgsql as $$
declare each text; key text; last bigint;
begin
  delete from public.crews;
  foreach each in array array[{", ".join(f"'{name}'" for name in TABLES)}] loop
    execute format('delete from public.%I', each);
    execute format('insert into public.%I select * from %I.%I', each, name, each);
    key := case each when 'events' then 'sequence' else 'id' end;
    execute format('select max(%I) from public.%I', key, each) into last;
    perform setval(pg_get_serial_sequence('public.' || each, key), coalesce(last, 1), last is not null);
  end loop;
end $$
"""  # noqa: S608 - the names are those of our own tables


def settings_of(data: Path, url: str | None = None) -> Settings:
    """As they are read from the environment."""
    return Settings.from_environment({"LYCHGATE_DATA": str(data), "LYCHGATE_DATABASE_URL": url or ""})


def environment_of(settings: Settings) -> dict[str, str]:
    """For a program of ours with the book of these settings: nothing of the caller's own."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("LYCHGATE_")}
    own = {"LYCHGATE_DATA": str(settings.data), "LYCHGATE_DATABASE_URL": settings.database_url or ""}
    return kept | own | {"LYCHGATE_PORT": "0", "PYTHONUNBUFFERED": "1"}


def rows_of(book: Book) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, as the program reads it."""
    with book.reading() as session:
        return {
            table.name: sorted((tuple(row) for row in session.execute(table.select())), key=repr)
            for table in Table.metadata.sorted_tables
        }
