"""Cases, and the photos that people let us keep."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make both tables."""
    op.create_table(
        "cases",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False, index=True),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("identification", sa.JSON, nullable=False),
    )
    op.create_table(
        "photos",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("case_id", sa.String(32), sa.ForeignKey("cases.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("media_type", sa.String(40), nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )


def downgrade() -> None:
    """Drop both tables."""
    op.drop_table("photos")
    op.drop_table("cases")
