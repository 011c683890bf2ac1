"""The command line: python -m server serve, migrate, invite, backup, restore, check."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import segno

from server.book.backups import NoBackup, back_up, restore
from server.book.checks import check
from server.book.crews import AmbiguousCrew, crew_to_enter
from server.book.invites import INVITE_LASTS, make_invite
from server.book.people import ROLES, THE_SERVER
from server.book.store import Book, NewerSchema
from server.book.tables import NAME_LONGEST
from server.book.trouble import OF_THE_DATABASE, advice_on
from server.serving import address_of, check_certificate, serve
from server.settings import BadSetting, Settings

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


def main(arguments: list[str] | None = None) -> int:
    """Run one subcommand; the exit status of the process."""
    parser = argparse.ArgumentParser(prog="python -m server", description="Lychgate.")
    commands = parser.add_subparsers(dest="command", required=True)
    serving = commands.add_parser("serve", help="bring the database up to date and serve the pages")
    serving.add_argument("--certificate", metavar="FILE", help="serve https, with this certificate and its chain (PEM)")
    serving.add_argument("--key", metavar="FILE", help="the certificate's key (PEM), where it is a file of its own")
    serving.add_argument("--workers", metavar="N", help="processes to serve with; several need PostgreSQL")
    commands.add_parser("migrate", help="bring the database up to date")
    inviting = commands.add_parser("invite", help="let somebody in: print a link and its QR code")
    inviting.add_argument("--role", choices=ROLES, default="lead", help="what they come as (%(default)s)")
    inviting.add_argument("--lasts", choices=INVITE_LASTS, default="day", help="how long it lets in (%(default)s)")
    crew = inviting.add_mutually_exclusive_group()
    crew.add_argument("--crew", type=_name, help="into which crew, where there are several")
    crew.add_argument("--new-crew", type=_name, help="into a new crew of this name")
    backing_up = commands.add_parser("backup", help="write everything into a new file; the server may be running")
    backing_up.add_argument("file", metavar="FILE", type=Path)
    restoring = commands.add_parser("restore", help="bring everything back from such a file, into an empty database")
    restoring.add_argument("file", metavar="FILE", type=Path)
    commands.add_parser("check", help="look whether the database is whole, and can be written")
    asked = parser.parse_args(arguments)
    try:
        os.environ.update(_said(asked))  # where every process of ours reads its settings
        return COMMANDS[asked.command](Settings.from_environment(), asked)
    except (BadSetting, AmbiguousCrew) as wrong:
        return _refused(wrong, 2)
    except (NoBackup, NewerSchema) as wrong:
        return _refused(wrong, 1)
    except OF_THE_DATABASE as wrong:
        advice = advice_on(wrong)
        if advice is None:
            raise
        return _refused(advice, 1)


def _refused(why: object, status: int) -> int:
    print(why, file=sys.stderr)
    return status


def _said(asked: argparse.Namespace) -> dict[str, str]:
    """What was said beside the command, as the settings that it stands for."""
    said = {"LYCHGATE_CERTIFICATE": "certificate", "LYCHGATE_KEY": "key", "LYCHGATE_WORKERS": "workers"}
    return {name: getattr(asked, option) for name, option in said.items() if getattr(asked, option, None)}


def _serve(settings: Settings, _asked: argparse.Namespace) -> int:
    check_certificate(settings)
    return serve(settings, before=lambda: _migrate(settings, _asked))


def _migrate(settings: Settings, _asked: argparse.Namespace) -> int:
    book = Book(settings)
    book.migrate()
    book.close()
    print("The database is up to date.")
    return 0


def _invite(settings: Settings, asked: argparse.Namespace) -> int:
    """Make an invite, as the first lead of a crew needs it: nobody else can."""
    book = Book(settings)
    book.migrate()
    try:
        with book.writing() as session:
            crew = crew_to_enter(session, asked.crew, asked.new_crew)
            name = crew.name
            token = make_invite(session, crew.id, asked.role, THE_SERVER, INVITE_LASTS[asked.lasts])
    finally:
        book.close()
    link = f"{address_of(settings, settings.port)}join#{token}"
    print(f"\nAn invite into “{name}” as {asked.role}, for one, for one {asked.lasts}:\n{link}\n")
    segno.make(link, error="m").terminal(compact=True)
    return 0


def _back_up(settings: Settings, asked: argparse.Namespace) -> int:
    if settings.file is not None and not settings.file.is_file():
        raise NoBackup(f"There is no database at {settings.file}.")
    counts = back_up(Book(settings), asked.file)
    print(f"{asked.file} holds {_listed(counts)}. It lets in whoever may read it: keep it as you keep a password.")
    return 0


def _restore(settings: Settings, asked: argparse.Namespace) -> int:
    counts = restore(asked.file, Book(settings))
    print(f"Restored: {_listed(counts)}.")
    return 0


def _check(settings: Settings, _asked: argparse.Namespace) -> int:
    whole = True
    for finding in check(settings):
        print(f"{'ok    ' if finding.good else 'WRONG '} {finding.words}")
        whole = whole and finding.good
    return 0 if whole else 1


def _listed(counts: Mapping[str, int]) -> str:
    """What somebody would look for first, and how much there is in all."""
    named = (("crews", "crew"), ("days", "day"), ("events", "tap"))
    said = [f"{counts[table]} {word}{'' if counts[table] == 1 else 's'}" for table, word in named]
    return f"{', '.join(said)}; {sum(counts.values())} rows in all"


def _name(came: str) -> str:
    line = " ".join(came.split())
    if not 1 <= len(line) <= NAME_LONGEST:
        raise argparse.ArgumentTypeError(f"a name has 1 to {NAME_LONGEST} characters")
    return line


COMMANDS: dict[str, Callable[[Settings, argparse.Namespace], int]] = {
    "serve": _serve,
    "migrate": _migrate,
    "invite": _invite,
    "backup": _back_up,
    "restore": _restore,
    "check": _check,
}


if __name__ == "__main__":
    sys.exit(main())
