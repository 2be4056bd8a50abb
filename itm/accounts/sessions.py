"""Sessions in the database that know whose they are, so that a person can see and end them.

The way to widen the table of sessions is Django's own (its documentation, "Extending
database-backed session engines").
"""

from datetime import datetime, timedelta
from typing import Any, cast

from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone

from itm.accounts.models import SignedIn

NOTED_EVERY = timedelta(minutes=10)  # a write with every page would be one too many


class SessionStore(DatabaseStore):
    used_at: datetime | None = None

    @classmethod
    def get_model_class(cls) -> type[SignedIn]:
        return SignedIn

    def _get_session_from_db(self) -> Any:
        row = super()._get_session_from_db()  # type: ignore[misc]
        self.used_at = row.used_at if row else None
        return row

    def create_model_instance(self, data: dict[str, Any]) -> SignedIn:
        row = cast(SignedIn, super().create_model_instance(data))
        row.user_id = data.get("_auth_user_id")
        row.browser = data.get("browser", "")
        row.began_at = datetime.fromisoformat(data["began"]) if "began" in data else None
        row.used_at = timezone.now()
        return row

    def note_use(self, now: datetime) -> None:
        """The session is written with its answer, and lives its full time from then."""
        if self.used_at is not None and self.used_at <= now - NOTED_EVERY:
            self.modified = True
