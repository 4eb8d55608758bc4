"""Who is signed in, found with two short statements.

Every request asks for its session and its person. Django's own way builds both queries and
model instances through the ORM, which costs more than the rest of a list; what is read, and
the checks on it, stay Django's.
"""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.sessions.backends.db import SessionStore as DatabaseSessions
from django.db import connection
from django.utils import timezone

from projectsite.accounts.models import User

_COLUMNS = [field.attname for field in User._meta.concrete_fields]  # noqa: SLF001  # public by its documentation
_PERSON = f"SELECT {', '.join(_COLUMNS)} FROM accounts_user WHERE id = %s AND is_active"  # noqa: S608  # names of columns
_SESSION = "SELECT session_data FROM django_session WHERE session_key = %s AND expire_date > %s"


class SessionStore(DatabaseSessions):
    """Sessions in the database, read by one statement written by hand."""

    def load(self) -> dict[str, Any]:
        """Read the session; an unknown or expired one is begun anew."""
        with connection.cursor() as cursor:
            cursor.execute(_SESSION, [self.session_key, timezone.now()])
            row = cursor.fetchone()
        if row is None:
            self._session_key = None
            return {}
        decoded: dict[str, Any] = self.decode(row[0])
        return decoded


class PersonBackend(ModelBackend):
    """Django's own sign-in with passwords; the person of a session is read by hand."""

    def get_user(self, user_id: int) -> User | None:
        """Find an active person by id."""
        with connection.cursor() as cursor:
            cursor.execute(_PERSON, [user_id])
            row = cursor.fetchone()
        return None if row is None else User.from_db("default", _COLUMNS, row)
