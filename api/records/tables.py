# SPDX-License-Identifier: MIT
"""The tables of the records database. Imports SQLAlchemy only.

`entry` is the truth: append-only, one row for each thing that a person or the program recorded.
`batch` is a listing made from it. `route` and `notice` are the outgoing messages, whose addresses
hold secrets and so are no part of any chain.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

metadata = MetaData()

entry = Table(
    "entry",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("id", String(64), nullable=False, unique=True),
    Column("chain", String(64), nullable=False),
    Column("position", Integer, nullable=False),
    Column("kind", String(32), nullable=False),
    Column("text", Text, nullable=False),
    Column("hash", String(64), nullable=False),
    UniqueConstraint("chain", "position", name="entry_position"),
    Index("entry_kind", "kind"),
    sqlite_autoincrement=True,
)

batch = Table(
    "batch",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("name", Text, nullable=False),
    Column("state", String(16), nullable=False),
    Column("started_at", String(40), nullable=False),
    Column("words", Text, nullable=False),
    Index("batch_started", "started_at"),
)

route = Table(
    "route",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("name", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("proven_at", String(40)),
    Column("alive_every_min", Integer),
    Column("tell_stop", Boolean, nullable=False, server_default=false()),
    Column("alive_at", String(40)),
    Column("alive_answer", Text, nullable=False, server_default=""),
    Column("gone", Text, nullable=False, server_default=""),
)

notice = Table(
    "notice",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("cause", String(200), nullable=False),
    Column("route", String(64), ForeignKey("route.id"), nullable=True),
    Column("batch", String(64)),
    Column("title", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("made_at", String(40), nullable=False),
    Column("due_ms", BigInteger, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("state", String(16), nullable=False),
    Column("answer", Text, nullable=False),
    Column("sent_at", String(40)),
    Column("priority", String(16), nullable=False, server_default="medium"),
    UniqueConstraint("cause", "route", name="notice_once"),
    sqlite_autoincrement=True,
)
