"""Jobs in progress: what was answered so far, kept on the server so that reload, back and a flat phone lose nothing."""

import secrets
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import JSON, DateTime, Engine, String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.cases import Base

KEPT_FOR = timedelta(days=30)


class DraftRow(Base):
    """One job in progress."""

    __tablename__ = "drafts"
    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    changed: Mapped[datetime] = mapped_column(DateTime(timezone=True), index=True)
    document: Mapped[dict[str, Any]] = mapped_column(JSON)


class Drafts:
    """The store of jobs in progress; holds answers and measurements, never a photo.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The cases' database, its tables up to date.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._one_at_a_time = threading.Lock()  # SQLite has no row locks; other databases use for_update

    def create(self, document: dict[str, Any]) -> str:
        """Store a new draft, let go of those nobody touched for a month, and return an id nobody can guess."""
        now = datetime.now(UTC)
        row = DraftRow(id=secrets.token_urlsafe(12), changed=now, document=document)
        with Session(self._engine) as session, session.begin():
            session.execute(delete(DraftRow).where(DraftRow.changed < now - KEPT_FOR))
            session.add(row)
            return row.id

    def document(self, draft_id: str) -> dict[str, Any] | None:
        """Return a draft's document, or None where there is none of that id."""
        with Session(self._engine) as session:
            row = session.get(DraftRow, draft_id)
            return None if row is None else row.document

    def change(self, draft_id: str, edit: Callable[[dict[str, Any]], dict[str, Any]]) -> dict[str, Any]:
        """Replace a draft's document by what ``edit`` makes of it, as one step, and return the new one.

        Raises
        ------
        KeyError
            Where there is no such draft.
        """
        row_of_id = select(DraftRow).where(DraftRow.id == draft_id).with_for_update()
        with self._one_at_a_time, Session(self._engine) as session, session.begin():
            row = session.scalar(row_of_id)
            if row is None:
                raise KeyError(draft_id)
            row.document, row.changed = edit(row.document), datetime.now(UTC)
            return row.document
