"""Drafts: jobs in progress."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "drafts",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False, index=True),
        sa.Column("document", sa.JSON, nullable=False),
    )


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("drafts")
