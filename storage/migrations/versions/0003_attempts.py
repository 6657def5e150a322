"""The third form: what was tried lately, counted for all processes together."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the attempts."""
    op.create_table(
        "attempt",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("moments", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_attempt"),
    )
    op.create_index("ix_attempt_until", "attempt", ["until"])


def downgrade() -> None:
    """Take them away."""
    op.drop_table("attempt")
