"""
The language that a person reads, and how their times and lengths are written.

Every sentence stands in the code in English, inside `say`, and is looked up here in the catalogue of the language that
is asked for (`de.po` beside this file, in the form of GNU gettext). Who asks is known to the door, which sets the
`Manner` of each request; outside a request, and to machines, it is English.

Names of their own make an expression of a sentence: say("Swap {out} for {into}", out="0.6", into="1.2"). A sentence is
never put together from halves: another language puts its words in another order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from gettext import NullTranslations
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from babel import Locale
from babel.dates import format_date
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import get_decimal_symbol
from babel.support import Translations

if TYPE_CHECKING:
    from datetime import date, datetime

    from babel.messages.catalog import Catalog

FOLDER = Path(__file__).parent
LANGUAGES = {"en": "English", "de": "Deutsch"}
NOUNS_LARGE = frozenset({"de"})  # languages whose nouns begin with a large letter
FEET_PER_METRE = 1 / 0.3048  # exact, by the international yard of 1959

Key = TypeVar("Key")


@dataclass(frozen=True, slots=True)
class Manner:
    """
    How somebody is spoken to.

    language  one of LANGUAGES
    feet      lengths in feet, not in metres
    twelve    times of day as 2:30 pm, not as 14:30
    """

    language: str = "en"
    feet: bool = False
    twelve: bool = False


_manner: ContextVar[Manner] = ContextVar("manner", default=Manner())  # noqa: B039 - it is frozen


def manner() -> Manner:
    """How whoever asks is spoken to."""
    return _manner.get()


def speak(chosen: Manner) -> None:
    """From here on in this request, speak so."""
    _manner.set(chosen)


@contextmanager
def speaking(chosen: Manner) -> Iterator[None]:
    """Speak so for a while."""
    token = _manner.set(chosen)
    try:
        yield
    finally:
        _manner.reset(token)


def say(message: str, /, **values: object) -> str:
    """
    A message in the language of whoever asks, with these values put in.

    >>> say("Swap {out} for {into}", out="0.6", into="1.2")
    'Swap 0.6 for 1.2'
    >>> with speaking(Manner("de")): say("Undo")
    'Zurück'
    """
    text = _catalogue(_manner.get().language).gettext(message)
    return text.format(**values) if values else text


def say_many(one: str, many: str, number: float, /, **values: object) -> str:
    """
    A message that differs for one and for several. {count} is the number, unless it comes as a value of its own.

    >>> say_many("{count} place", "{count} places", 2)
    '2 places'
    """
    text = _catalogue(_manner.get().language).ngettext(one, many, number)  # type: ignore[arg-type]  # halves are many
    return text.format(**({"count": number} | values))


def say_as(meaning: str, message: str, /, **values: object) -> str:
    """
    A message whose English stands for several things; meaning says which, to whoever translates.

    >>> say_as("of a shop, not of a hand", "open")
    'open'
    """
    text = _catalogue(_manner.get().language).pgettext(meaning, message)
    return text.format(**values) if values else text


def listed(names: Sequence[str]) -> str:
    """
    Names in a sentence.

    >>> listed(["0.6"]), listed(["0.6", "0.9", "1.2"])
    ('0.6', '0.6, 0.9 and 1.2')
    """
    return say("{some} and {last}", some=", ".join(names[:-1]), last=names[-1]) if len(names) > 1 else "".join(names)


def goes_on(text: str) -> str:
    """A phrase that began a sentence, inside one: its first letter is small, where nouns are not written large."""
    return text if _manner.get().language in NOUNS_LARGE else text[:1].lower() + text[1:]


def noted(message: str) -> str:
    """A message that is said later, by a name: found by whoever gathers the messages, and left as it is."""
    return message


class Worded(Mapping[Key, str]):
    """Messages by what they stand for, each in the language of whoever asks for it."""

    def __init__(self, messages: Mapping[Key, str]) -> None:
        self._messages = messages

    def __getitem__(self, key: Key) -> str:
        return say(self._messages[key])

    def __iter__(self) -> Iterator[Key]:
        return iter(self._messages)

    def __len__(self) -> int:
        return len(self._messages)


def decimal(text: str) -> str:
    """A number as it was formatted with a point, with the sign of the language between whole and parts."""
    return text.replace(".", get_decimal_symbol(_locale(_manner.get().language)))


def clock(moment: datetime) -> str:
    """
    The time of day at a moment's own zone: "14:30", or "2:30 pm" for who wants it so.

    >>> from datetime import datetime
    >>> clock(datetime(2026, 6, 20, 14, 30))
    '14:30'
    >>> with speaking(Manner(twelve=True)): clock(datetime(2026, 6, 20, 0, 5))
    '12:05 am'
    """
    if not _manner.get().twelve:
        return f"{moment:%H:%M}"
    return f"{moment.hour % 12 or 12}:{moment:%M} {'am' if moment.hour < 12 else 'pm'}"


def hour(moment: datetime) -> str:
    """The hour alone, as short as a picture's axis needs it: "14", or "2pm"."""
    if not _manner.get().twelve:
        return f"{moment:%H}"
    return f"{moment.hour % 12 or 12}{'am' if moment.hour < 12 else 'pm'}"


def day(on: date, form: str = "d MMM y") -> str:
    """
    A date, by a pattern of Unicode's LDML (UTS 35), as the language has it.

    >>> from datetime import date
    >>> day(date(2026, 6, 20)), day(date(2026, 6, 20), "EEEE d MMMM y")
    ('20 Jun 2026', 'Saturday 20 June 2026')
    >>> with speaking(Manner("de")): day(date(2026, 6, 20), "EEEE d MMMM y")
    'Samstag 20. Juni 2026'
    """
    language = _manner.get().language
    return format_date(on, form.replace("d ", "d. ") if language == "de" else form, locale=_locale(language))


def length(metres: float) -> str:
    """
    A length [m], to what its size is worth: "0.85 m", "12.3 m", "150 m", in feet for who wants it so.

    >>> length(0.85), length(12.34), length(150.2)
    ('0.85 m', '12.3 m', '150 m')
    >>> with speaking(Manner(feet=True)): length(0.3048)
    '1.00 ft'
    """
    feet = _manner.get().feet
    value = metres * FEET_PER_METRE if feet else metres
    figures = f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 100 else f"{value:.0f}"
    return f"{decimal(figures)} {'ft' if feet else 'm'}"


def said_by_scripts(language: str) -> dict[str, list[str]]:
    """The messages of the scripts in a language: what each is for one, and for several where it differs.

    One that is said in a certain meaning stands behind it and U+0004, as in compiled catalogues.
    """
    found = {}
    for message in _messages(language):
        if any(path.startswith("static/") for path, _ in message.locations):
            one = message.id if isinstance(message.id, str) else message.id[0]
            found[f"{message.context}\x04{one}" if message.context else one] = (
                [message.string] if isinstance(message.string, str) else [*(message.string or ())]
            )
    return found


@cache
def _locale(language: str) -> Locale:
    return Locale.parse("en_GB" if language == "en" else language)


@cache
def _messages(language: str) -> Catalog:
    with (FOLDER / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


@cache
def _catalogue(language: str) -> NullTranslations:
    """The messages of a language; English is what stands in the code. Compiled here: a build could be forgotten."""
    if language == "en":
        return NullTranslations()
    compiled = BytesIO()
    write_mo(compiled, _messages(language))
    compiled.seek(0)
    return Translations(compiled)
