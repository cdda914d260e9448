"""Cases that somebody asked to keep: evidence, identification and, with consent, photos without their location."""

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import JSON, DateTime, Engine, ForeignKey, LargeBinary, String, create_engine, event, select
from sqlalchemy.engine import make_url
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

MIGRATIONS = Path(__file__).with_name("migrations")


class Base(DeclarativeBase):
    """The tables' base."""


class CaseRow(Base):
    """One kept case."""

    __tablename__ = "cases"
    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    created: Mapped[datetime] = mapped_column(DateTime(timezone=True), index=True)
    evidence: Mapped[dict[str, Any]] = mapped_column(JSON)
    identification: Mapped[dict[str, Any]] = mapped_column(JSON)


class PhotoRow(Base):
    """One photo kept with a case."""

    __tablename__ = "photos"
    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    case_id: Mapped[str] = mapped_column(ForeignKey("cases.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(200))
    media_type: Mapped[str] = mapped_column(String(40))
    content: Mapped[bytes] = mapped_column(LargeBinary)


@dataclass(frozen=True)
class StoredPhoto:
    """A photo as kept: picture data with nothing in it that says where it was taken."""

    name: str
    media_type: str
    content: bytes


class Cases:
    """The store of cases, at a database's address in SQLAlchemy's form.

    Opening it makes the tables, or brings them up to date.

    Raises
    ------
    sqlalchemy.exc.SQLAlchemyError, OSError
        When the database can't be reached or made.
    """

    def __init__(self, url: str) -> None:
        self.engine = _engine(url)
        _migrate(self.engine)

    def keep(self, evidence: dict[str, Any], identification: dict[str, Any]) -> str:
        """Store a case and return its id."""
        row = CaseRow(id=uuid.uuid4().hex, created=datetime.now(UTC), evidence=evidence, identification=identification)
        with Session(self.engine) as session, session.begin():
            session.add(row)
            return row.id

    def listed(self, limit: int = 100, offset: int = 0) -> list[dict[str, Any]]:
        """Return the cases' heads, the newest first."""
        rows = select(CaseRow).order_by(CaseRow.created.desc(), CaseRow.id).limit(limit).offset(offset)
        with Session(self.engine) as session:
            return [_head(row) for row in session.scalars(rows)]

    def case(self, case_id: str) -> dict[str, Any] | None:
        """Return one whole case, or None where there is none of that id."""
        with Session(self.engine) as session:
            row = session.get(CaseRow, case_id)
            if row is None:
                return None
            photos = session.execute(select(PhotoRow.id, PhotoRow.name).where(PhotoRow.case_id == case_id))
            return {
                **_head(row),
                "evidence": row.evidence,
                "identification": row.identification,
                "photos": [{"id": photo_id, "name": name} for photo_id, name in photos],
            }

    def add_photo(self, case_id: str, photo: StoredPhoto) -> str:
        """Store a photo with a case and return the photo's id.

        Raises
        ------
        KeyError
            Where there is no such case.
        """
        with Session(self.engine) as session, session.begin():
            if session.get(CaseRow, case_id) is None:
                raise KeyError(case_id)
            row = PhotoRow(id=uuid.uuid4().hex, case_id=case_id, **vars(photo))
            session.add(row)
            return row.id

    def photo(self, case_id: str, photo_id: str) -> StoredPhoto | None:
        """Return a case's photo, or None where there is none of that id."""
        with Session(self.engine) as session:
            row = session.get(PhotoRow, photo_id)
            if row is None or row.case_id != case_id:
                return None
            return StoredPhoto(row.name, row.media_type, row.content)

    def delete(self, case_id: str) -> bool:
        """Delete a case with its photos; say whether there was one."""
        with Session(self.engine) as session, session.begin():
            row = session.get(CaseRow, case_id)
            if row is not None:
                session.delete(row)
            return row is not None

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def _head(row: CaseRow) -> dict[str, Any]:
    created = row.created if row.created.tzinfo else row.created.replace(tzinfo=UTC)  # SQLite forgets the zone
    return {
        "id": row.id,
        "created": created.isoformat(timespec="seconds"),
        "vehicle": row.evidence.get("vehicle") or {},
        "verdict": row.identification.get("verdict"),
        "message": row.identification.get("message"),
    }


def _engine(url: str) -> Engine:
    address = make_url(url)
    try:
        engine = create_engine(address)
    except ModuleNotFoundError as fault:
        raise OSError(
            f"{address.drivername} needs the Python package {fault.name}; the extra [postgresql] brings psycopg"
        ) from None
    if address.get_backend_name() == "sqlite":
        if address.database and address.database != ":memory:":
            Path(address.database).parent.mkdir(parents=True, exist_ok=True)
        event.listen(engine, "connect", _enforce_foreign_keys)
    return engine


def _enforce_foreign_keys(connection: Any, _record: object) -> None:
    connection.execute("PRAGMA foreign_keys=ON")  # SQLite's own default is to ignore them


def _migrate(engine: Engine) -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
