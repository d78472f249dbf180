# SPDX-License-Identifier: MIT
"""Entries, the listing of batches, routes and notices."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "r0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "entry",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("id", sa.String(64), nullable=False, unique=True),
        sa.Column("chain", sa.String(64), nullable=False),
        sa.Column("position", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.UniqueConstraint("chain", "position", name="entry_position"),
        sqlite_autoincrement=True,
    )
    op.create_index("entry_kind", "entry", ["kind"])
    op.create_table(
        "batch",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("started_at", sa.String(40), nullable=False),
        sa.Column("words", sa.Text, nullable=False),
    )
    op.create_index("batch_started", "batch", ["started_at"])
    op.create_table(
        "route",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("proven_at", sa.String(40)),
    )
    op.create_table(
        "notice",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("cause", sa.String(200), nullable=False),
        sa.Column("route", sa.String(64), sa.ForeignKey("route.id"), nullable=True),
        sa.Column("batch", sa.String(64)),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        sa.Column("due_ms", sa.BigInteger, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("sent_at", sa.String(40)),
        sa.UniqueConstraint("cause", "route", name="notice_once"),
        sqlite_autoincrement=True,
    )


def downgrade() -> None:
    """Records are never thrown away."""
    raise RuntimeError("A records database is not taken back to an older version.")
