"""
Secrets that let somebody in: links, sessions, short codes. The book keeps only what they hash to.

A plain SHA-256 is enough for a secret of 256 random bits: nobody can try them out. A short code is tried out easily,
so it lives for minutes and its guesses are counted (`door.limits`).
"""

from __future__ import annotations

import hashlib
import secrets

TOKEN_BYTES = 32  # 256 bits
# Nothing in it is taken for something else when it is read out or typed: no I, O, 0, 1.
CODE_LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
CODE_LENGTH = 8  # 40 bits


def new_token() -> str:
    """A secret for a link or a cookie: 43 letters that may stand in an address."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def new_code() -> str:
    """A short secret to be typed."""
    return "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))


def hashed(secret: str) -> str:
    """What the book keeps of a secret, in 64 hexadecimal digits."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def code_typed(line: str) -> str:
    """
    A short code as it was typed: in any case, with spaces or a dash.

    >>> code_typed(" abcd-2345 ")
    'ABCD2345'
    """
    return "".join(letter for letter in line.upper() if letter.isalnum())


def code_shown(code: str) -> str:
    """
    A short code in two halves, which are easier to carry from one screen to the other.

    >>> code_shown("ABCD2345")
    'ABCD-2345'
    """
    return f"{code[:4]}-{code[4:]}"
