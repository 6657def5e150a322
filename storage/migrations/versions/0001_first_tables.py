"""The first form: customers, racquets, stringings, readings, consultations and all that stands around them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = (
    "reminder",
    "reading",
    "consultation",
    "string_job",
    "racquet",
    "league_season",
    "league_member",
    "customer_key",
    "conversation",
    "staff",
    "setting",
    "rulebook",
    "league",
    "customer",
    "catalogue_product",
    "audit_entry",
)
"""Every table, those that point at others first."""
REFUSAL = "a stored consultation never changes"
LABEL_DECISION = "fk_string_job_consultation_id_consultation"


def upgrade() -> None:
    """Create every table and the guards of the evidence."""
    _create_tables()
    if op.get_bind().dialect.name == "postgresql":
        op.create_foreign_key(
            LABEL_DECISION, "string_job", "consultation", ["consultation_id"], ["id"], ondelete="SET NULL"
        )
        _guard_on_postgresql()
    else:
        _guard_on_sqlite()


def downgrade() -> None:
    """Remove every table."""
    on_postgresql = op.get_bind().dialect.name == "postgresql"
    if on_postgresql:
        op.drop_constraint(LABEL_DECISION, "string_job")
    for table in TABLES:
        op.drop_table(table)
    if on_postgresql:
        op.execute("DROP FUNCTION refuse_consultation_change()")


def _guard_on_sqlite() -> None:
    """Let the database itself refuse to rewrite evidence; a step that rebuilds the table must make these anew."""
    op.execute(
        f"""CREATE TRIGGER consultation_never_changes
        BEFORE UPDATE OF id, created_at, today, facts, decision, rulebook ON consultation
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"""
    )
    op.execute(
        f"""CREATE TRIGGER consultation_words_are_only_erased
        BEFORE UPDATE OF words ON consultation WHEN NEW.words IS NOT NULL
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"""
    )
    op.execute(
        f"""CREATE TRIGGER consultation_stays BEFORE DELETE ON consultation
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"""
    )


def _guard_on_postgresql() -> None:
    op.execute(
        f"""CREATE FUNCTION refuse_consultation_change() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; END $$"""
    )
    op.execute(
        """CREATE TRIGGER consultation_never_changes
        BEFORE UPDATE OF id, created_at, today, facts, decision, rulebook ON consultation
        FOR EACH ROW EXECUTE FUNCTION refuse_consultation_change()"""
    )
    op.execute(
        """CREATE TRIGGER consultation_words_are_only_erased
        BEFORE UPDATE OF words ON consultation FOR EACH ROW WHEN (NEW.words IS NOT NULL)
        EXECUTE FUNCTION refuse_consultation_change()"""
    )
    op.execute(
        """CREATE TRIGGER consultation_stays
        BEFORE DELETE ON consultation FOR EACH ROW EXECUTE FUNCTION refuse_consultation_change()"""
    )


def _label_decision() -> tuple[sa.ForeignKeyConstraint, ...]:
    """Return the one constraint that points at a later table: SQLite takes it at once, PostgreSQL afterwards."""
    if op.get_bind().dialect.name == "postgresql":
        return ()
    return (sa.ForeignKeyConstraint(["consultation_id"], ["consultation.id"], LABEL_DECISION, ondelete="SET NULL"),)


def _create_tables() -> None:
    op.create_table(
        "audit_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("unit", sa.String(length=40), nullable=False),
        sa.Column("action", sa.String(length=40), nullable=False),
        sa.Column("entity", sa.String(length=40), nullable=False),
        sa.Column("entity_id", sa.String(length=128), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("undoes", sa.String(length=40), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_audit_entry"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_audit_entry_entity_entity_id", "audit_entry", ["entity", "entity_id"])
    op.create_index("ix_audit_entry_undoes", "audit_entry", ["undoes"])
    op.create_index("ix_audit_entry_who_id", "audit_entry", ["who", "id"])
    op.create_table(
        "catalogue_product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product", sa.Text(), nullable=False),
        sa.Column("material", sa.String(length=40), nullable=False),
        sa.Column("gauge_mm", sa.Double(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_catalogue_product"),
        sa.UniqueConstraint("product", "gauge_mm", name="uq_catalogue_product_product_gauge_mm"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "customer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=True),
        sa.Column("phone_tail", sa.String(length=20), nullable=True),
        sa.Column("email", sa.Text(), nullable=True),
        sa.Column("consent_to_contact", sa.Boolean(), nullable=False),
        sa.Column("level", sa.String(length=40), nullable=True),
        sa.Column("plays_per_week_low", sa.Double(), nullable=True),
        sa.Column("plays_per_week_high", sa.Double(), nullable=True),
        sa.Column("hours_per_play_low", sa.Double(), nullable=True),
        sa.Column("hours_per_play_high", sa.Double(), nullable=True),
        sa.Column("hours_per_week_low", sa.Double(), nullable=True),
        sa.Column("hours_per_week_high", sa.Double(), nullable=True),
        sa.Column("season", sa.String(length=40), nullable=True),
        sa.Column("breaks_strings", sa.Boolean(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_customer"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_customer_name_key", "customer", ["name_key"])
    op.create_index("ix_customer_phone_tail", "customer", ["phone_tail"])
    op.create_table(
        "league",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_league"),
        sa.UniqueConstraint("name", name="uq_league_name"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "rulebook",
        sa.Column("hash", sa.String(length=128), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_rulebook"),
    )
    op.create_table(
        "setting",
        sa.Column("key", sa.String(length=100), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_setting"),
    )
    op.create_table(
        "staff",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("pin_hash", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=40), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_staff"),
        sa.UniqueConstraint("name", name="uq_staff_name"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "conversation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sender_id", sa.Text(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("events", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_conversation_customer_id_customer", ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_conversation"),
        sa.UniqueConstraint("sender_id", name="uq_conversation_sender_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_conversation_customer_id", "conversation", ["customer_id"])
    op.create_index("ix_conversation_updated_at", "conversation", ["updated_at"])
    op.create_table(
        "customer_key",
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_customer_key_customer_id_customer", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("key", "customer_id", name="pk_customer_key"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_customer_key_customer_id", "customer_key", ["customer_id"])
    op.create_table(
        "league_member",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("league_id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_league_member_customer_id_customer", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["league_id"], ["league.id"], name="fk_league_member_league_id_league", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_league_member"),
        sa.UniqueConstraint("league_id", "customer_id", name="uq_league_member_league_id_customer_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_league_member_customer_id", "league_member", ["customer_id"])
    op.create_table(
        "league_season",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("league_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["league_id"], ["league.id"], name="fk_league_season_league_id_league", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_league_season"),
        sa.UniqueConstraint("league_id", "starts_on", name="uq_league_season_league_id_starts_on"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_league_season_starts_on", "league_season", ["starts_on"])
    op.create_table(
        "racquet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("nickname", sa.Text(), nullable=True),
        sa.Column("sport", sa.String(length=40), nullable=True),
        sa.Column("head_size_in2", sa.Double(), nullable=True),
        sa.Column("mains_count", sa.Integer(), nullable=True),
        sa.Column("crosses_count", sa.Integer(), nullable=True),
        sa.Column("tension_min_lb", sa.Double(), nullable=True),
        sa.Column("tension_max_lb", sa.Double(), nullable=True),
        sa.Column("frame_notes", sa.Text(), nullable=True),
        sa.Column("tag", sa.String(length=40), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_racquet_customer_id_customer", ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_racquet"),
        sa.UniqueConstraint("tag", name="uq_racquet_tag"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_racquet_customer_id", "racquet", ["customer_id"])
    op.create_table(
        "string_job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("racquet_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=40), nullable=False),
        sa.Column("status", sa.String(length=40), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("strung_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ready_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("collected_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cancelled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("mains_material", sa.String(length=40), nullable=True),
        sa.Column("mains_tension", sa.Double(), nullable=True),
        sa.Column("mains_tension_unit", sa.String(length=40), nullable=True),
        sa.Column("mains_gauge", sa.Text(), nullable=True),
        sa.Column("mains_product", sa.Text(), nullable=True),
        sa.Column("crosses_material", sa.String(length=40), nullable=True),
        sa.Column("crosses_tension", sa.Double(), nullable=True),
        sa.Column("crosses_tension_unit", sa.String(length=40), nullable=True),
        sa.Column("crosses_gauge", sa.Text(), nullable=True),
        sa.Column("crosses_product", sa.Text(), nullable=True),
        sa.Column("catalogue_product_id", sa.Integer(), nullable=True),
        sa.Column("machine", sa.String(length=40), nullable=True),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("prestretch_percent", sa.Double(), nullable=True),
        sa.Column("strung_on", sa.Date(), nullable=True),
        sa.Column("strung_on_approx", sa.Boolean(), nullable=False),
        sa.Column("label_due", sa.Date(), nullable=True),
        sa.Column("restring_by", sa.Date(), nullable=True),
        sa.Column("window_first", sa.Date(), nullable=True),
        sa.Column("window_last", sa.Date(), nullable=True),
        sa.Column("approximate", sa.Boolean(), nullable=False),
        sa.Column("consultation_id", sa.Integer(), nullable=True),
        sa.Column("wish", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "status IN ('received', 'strung', 'ready', 'collected', 'cancelled')", name="ck_string_job_status"
        ),
        sa.ForeignKeyConstraint(
            ["catalogue_product_id"],
            ["catalogue_product.id"],
            name="fk_string_job_catalogue_product_id_catalogue_product",
            ondelete="SET NULL",
        ),
        *_label_decision(),
        sa.ForeignKeyConstraint(["racquet_id"], ["racquet.id"], name="fk_string_job_racquet_id_racquet"),
        sa.PrimaryKeyConstraint("id", name="pk_string_job"),
        sa.UniqueConstraint("tag", name="uq_string_job_tag"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_string_job_consultation_id", "string_job", ["consultation_id"])
    op.create_index("ix_string_job_racquet_id_strung_on_status", "string_job", ["racquet_id", "strung_on", "status"])
    op.create_index("ix_string_job_restring_by_racquet_id", "string_job", ["restring_by", "racquet_id"])
    op.create_index("ix_string_job_status_promised_on", "string_job", ["status", "promised_on"])
    op.create_table(
        "consultation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("racquet_id", sa.Integer(), nullable=True),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("conversation_id", sa.Integer(), nullable=True),
        sa.Column("today", sa.Date(), nullable=False),
        sa.Column("facts", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("words", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("decision", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("rulebook", sa.String(length=128), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversation.id"],
            name="fk_consultation_conversation_id_conversation",
            ondelete="SET NULL",
        ),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_consultation_customer_id_customer", ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["job_id"], ["string_job.id"], name="fk_consultation_job_id_string_job", ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["racquet_id"], ["racquet.id"], name="fk_consultation_racquet_id_racquet", ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["rulebook"], ["rulebook.hash"], name="fk_consultation_rulebook_rulebook"),
        sa.PrimaryKeyConstraint("id", name="pk_consultation"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_consultation_conversation_id", "consultation", ["conversation_id"])
    op.create_index("ix_consultation_customer_id", "consultation", ["customer_id"])
    op.create_index("ix_consultation_job_id", "consultation", ["job_id"])
    op.create_index("ix_consultation_racquet_id", "consultation", ["racquet_id"])
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=True),
        sa.Column("unit", sa.String(length=40), nullable=True),
        sa.Column("instrument", sa.Text(), nullable=True),
        sa.Column("values", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("taken_on", sa.Date(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("minutes_after_stringing", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.CheckConstraint("role IN ('baseline', 'check')", name="ck_reading_role"),
        sa.ForeignKeyConstraint(["job_id"], ["string_job.id"], name="fk_reading_job_id_string_job"),
        sa.PrimaryKeyConstraint("id", name="pk_reading"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_reading_job_id", "reading", ["job_id"])
    op.create_table(
        "reminder",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("state", sa.String(length=40), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("message_id", sa.Text(), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.CheckConstraint("state IN ('draft', 'queued', 'sending', 'sent', 'failed')", name="ck_reminder_state"),
        sa.ForeignKeyConstraint(["job_id"], ["string_job.id"], name="fk_reminder_job_id_string_job"),
        sa.PrimaryKeyConstraint("id", name="pk_reminder"),
        sa.UniqueConstraint("job_id", name="uq_reminder_job_id"),
        sa.UniqueConstraint("message_id", name="uq_reminder_message_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_reminder_due_on", "reminder", ["due_on"])
    op.create_index("ix_reminder_state_next_try_at", "reminder", ["state", "next_try_at"])
