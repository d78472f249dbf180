# SPDX-License-Identifier: MIT
"""What a route is told beside notices, whether it is gone, and how urgent a notice is."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "r0002"
down_revision = "r0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; what is there gets their plain values."""
    op.add_column("route", sa.Column("alive_every_min", sa.Integer))
    op.add_column(
        "route", sa.Column("tell_stop", sa.Boolean, nullable=False, server_default=sa.false())
    )
    op.add_column("route", sa.Column("alive_at", sa.String(40)))
    op.add_column("route", sa.Column("alive_answer", sa.Text, nullable=False, server_default=""))
    op.add_column("route", sa.Column("gone", sa.Text, nullable=False, server_default=""))
    op.add_column(
        "notice", sa.Column("priority", sa.String(16), nullable=False, server_default="medium")
    )


def downgrade() -> None:
    """Records are never thrown away."""
    raise RuntimeError("A records database is not taken back to an older version.")
