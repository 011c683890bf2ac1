"""Every setting, read from LYCHGATE_… variables."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import URL

if TYPE_CHECKING:
    from collections.abc import Mapping

CHECKOUT = Path(__file__).resolve().parent.parent
HOST, PORT, DATA = "127.0.0.1", 8000, CHECKOUT / "data"
DATABASE_FILE = "lychgate.sqlite3"


class BadSetting(Exception):
    """A setting that cannot be used; the message says which and what is allowed."""


@dataclass(frozen=True, slots=True)
class Settings:
    """
    host, port      where the server listens: LYCHGATE_HOST, LYCHGATE_PORT
    data            folder of the embedded database: LYCHGATE_DATA
    database_url    another database, as SQLAlchemy spells it: LYCHGATE_DATABASE_URL
    """

    host: str = HOST
    port: int = PORT
    data: Path = DATA
    database_url: str | None = None

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """The settings, with BadSetting for one that cannot be used."""
        port = environment.get("LYCHGATE_PORT") or str(PORT)
        if re.fullmatch(r"[0-9]{1,5}", port) is None or int(port) > 65535:
            message = f"LYCHGATE_PORT: {port[:40]!r} came, allowed is 0 to 65535"
            raise BadSetting(message)
        return cls(
            host=environment.get("LYCHGATE_HOST") or HOST,
            port=int(port),
            data=Path(environment.get("LYCHGATE_DATA") or DATA),
            database_url=environment.get("LYCHGATE_DATABASE_URL") or None,
        )

    @property
    def url(self) -> str | URL:
        """The database to open, as SQLAlchemy spells it. Made of its parts: a folder's name may hold a "?" or "%"."""
        return self.database_url or URL.create("sqlite", database=str(self.data / DATABASE_FILE))
