# SPDX-License-Identifier: MIT
"""Runs the migrations on the connection that `api.records.database` hands over."""

from __future__ import annotations

from alembic import context

from api.records.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
