"""Tokens and codes: made at random, kept as hashes.

A token has 256 random bits, so a plain SHA-256 of it is enough: nothing of it can be guessed. A code has
40 (eight of 32 characters): what protects it is that it lives ten minutes, works once, and that wrong ones
are counted (`limits`).
"""

import hashlib
import secrets
import uuid

from shared_models.pairing import CodeTyped

CODE_LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without 0 and O, 1 and I: 32 characters that nobody mistakes for one another on a small screen."""

CODE_LENGTH = 8
CODE_LIFE_MS = 10 * 60 * 1000


def new_token() -> str:
    """A token for one phone: 43 characters that go into a header as they are."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """A code as it is typed: `ABCD-EFGH`."""
    letters = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
    return f"{letters[:4]}-{letters[4:]}"


def new_phone_id() -> str:
    """A name for a phone that says nothing."""
    return str(uuid.uuid4())


def hash_of_token(token: str) -> bytes:
    """What is kept of a token."""
    return hashlib.sha256(b"token " + token.encode()).digest()


def hash_of_code(typed: CodeTyped) -> bytes:
    """What is kept of a code; capitals, spaces and dashes make no difference."""
    letters = "".join(letter for letter in typed.upper() if letter.isalnum())
    return hashlib.sha256(b"code " + letters.encode("utf-8", "surrogatepass")).digest()
