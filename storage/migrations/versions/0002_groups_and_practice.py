"""The second form: the group of a customer, and what trainees practised."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the group to customers, and the cards and answers of practice."""
    op.add_column("customer", sa.Column("group", sa.String(length=40), nullable=True))
    op.create_table(
        "practice_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainee", sa.Text(), nullable=False),
        sa.Column("row", sa.String(length=100), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.JSON(none_as_null=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_practice_card"),
        sa.UniqueConstraint("trainee", "row", name="uq_practice_card_trainee_row"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "practice_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("trainee", sa.Text(), nullable=False),
        sa.Column("row", sa.String(length=100), nullable=False),
        sa.Column("exercise", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("answer", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("marks", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("rulebook", sa.String(length=128), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_practice_answer"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_practice_answer_trainee_id", "practice_answer", ["trainee", "id"])


def downgrade() -> None:
    """Take them away."""
    op.drop_table("practice_answer")
    op.drop_table("practice_card")
    op.drop_column("customer", "group")
