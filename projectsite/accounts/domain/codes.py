"""Secrets that are shown once: codes of one-time links and API tokens.

The code is random (256 bits), so a plain SHA-256 digest is enough to keep: there is nothing
to guess that a slow hash would protect.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

TOKEN_START = "pl_"  # noqa: S105  # the public beginning, not a secret
PREFIX_LENGTH = 12


@dataclass(frozen=True, slots=True)
class Code:
    """A secret at the moment it is made.

    Attributes
    ----------
    plain
        What the person or program gets, once.
    """

    plain: str

    @property
    def digest(self) -> str:
        """What is kept."""
        return digest_of(self.plain)

    @property
    def prefix(self) -> str:
        """First characters, by which a person recognises a token in a list."""
        return self.plain[:PREFIX_LENGTH]


def new_link_code() -> Code:
    """Make the code of a one-time link."""
    return Code(secrets.token_urlsafe(32))


def new_token() -> Code:
    """Make an API token; its beginning tells where it belongs if it is found somewhere."""
    return Code(TOKEN_START + secrets.token_urlsafe(32))


def digest_of(plain: str) -> str:
    """Give the digest under which a code is kept.

    >>> len(digest_of("anything"))
    64
    """
    return hashlib.sha256(plain.encode()).hexdigest()
