# SPDX-License-Identifier: MIT
"""What waits to go by each route, in order. Imports SQLAlchemy and the records.

Of the route only its name goes into a chain, never its address, which holds secrets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, func, select, update

from api.records.journal import Journal
from api.records.tables import notice as notice_table
from api.records.tables import route as route_table
from api.times import format_ms, parse_ms
from api.watch.notice_book import GIVEN_UP, SENDING, SENT, WAITING, id_of

_RECENT = 500


@dataclass(frozen=True, slots=True)
class Waiting:
    """The oldest notice that waits on one route.

    Attributes:
        number: Its running number.
        route: The route's id.
        address: Where it goes.
        title: The head of the message.
        text: The message.
        made_ms: When the notice was made [ms since 1970 UTC].
        due_ms: When it is to be tried next [ms since 1970 UTC].
        tries: How often it was tried in vain.
        cause: What it tells of, the same each time it is found.
        priority: "low", "medium" or "high".
    """

    number: int
    route: str
    address: str
    title: str
    text: str
    made_ms: int
    due_ms: int
    tries: int
    cause: str
    priority: str


@dataclass(frozen=True, slots=True)
class RetryPlan:
    """How a message is tried again.

    Attributes:
        first_ms: The pause after the first try [ms].
        longest_ms: The longest pause [ms].
        give_up_ms: The age at which a message is no longer tried [ms].
    """

    first_ms: int = 2_000
    longest_ms: int = 600_000
    give_up_ms: int = 86_400_000

    def pause_ms(self, age_ms: int) -> int:
        """Return the pause after a failed try [ms].

        As long as the route has been tried for, so that each pause doubles the one before it; the
        age is that of the newest message that waits, so that a new one is never long delayed by
        the failures of an old one.

        Args:
            age_ms: Of the newest message that waits on the route [ms].

        Example:
            >>> plan = RetryPlan()
            >>> [plan.pause_ms(age) for age in (0, 2_000, 6_000, 14_000, 900_000)]
            [2000, 4000, 8000, 16000, 600000]
        """
        return min(max(age_ms, 0) + self.first_ms, self.longest_ms)


class Outbox:
    """Keeps what waits, and how each sending ended."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    @property
    def _engine(self) -> Engine:
        return self._journal.engine

    def heads(self) -> list[Waiting]:
        """Return the oldest notice that waits on each route."""
        oldest = (
            select(func.min(notice_table.c.number))
            .where(notice_table.c.state == WAITING)
            .group_by(notice_table.c.route)
        )
        statement = (
            select(notice_table, route_table.c.address)
            .join(route_table, route_table.c.id == notice_table.c.route)
            .where(notice_table.c.number.in_(oldest))
            .order_by(notice_table.c.number)
        )
        with self._engine.connect() as connection:
            rows = connection.execute(statement).mappings().all()
        return [
            Waiting(
                number=row["number"],
                route=row["route"],
                address=row["address"],
                title=row["title"],
                text=row["text"],
                made_ms=parse_ms(row["made_at"]),
                due_ms=row["due_ms"],
                tries=row["tries"],
                cause=row["cause"],
                priority=row["priority"],
            )
            for row in rows
        ]

    def sent(self, waiting: Waiting, answer: str) -> None:
        """Keep that a service took a notice."""
        at = format_ms(self._journal.now_ms())
        with self._engine.connect().execution_options(writes=True) as connection:
            self._end(connection, waiting, SENT, answer, sent_at=at)
            connection.execute(
                update(route_table)
                .where(route_table.c.id == waiting.route, route_table.c.address != "")
                .values(proven_at=at)
            )
            connection.commit()
        self._record_end(waiting.number)

    def give_up(self, waiting: Waiting, answer: str) -> None:
        """Keep that a notice is no longer tried."""
        with self._engine.connect().execution_options(writes=True) as connection:
            self._end(connection, waiting, GIVEN_UP, answer)
            connection.commit()
        self._record_end(waiting.number)

    def failed(self, waiting: Waiting, answer: str, plan: RetryPlan) -> int:
        """Keep that a try failed, and when the next is due.

        Returns:
            The pause until then [ms].
        """
        now_ms = self._journal.now_ms()
        with self._engine.connect().execution_options(writes=True) as connection:
            newest = connection.execute(
                select(func.max(notice_table.c.made_at)).where(
                    notice_table.c.route == waiting.route, notice_table.c.state == WAITING
                )
            ).scalar()
            pause_ms = plan.pause_ms(now_ms - parse_ms(newest)) if newest else plan.first_ms
            connection.execute(
                update(notice_table)
                .where(notice_table.c.number == waiting.number, notice_table.c.state == WAITING)
                .values(tries=waiting.tries + 1, due_ms=now_ms + pause_ms, answer=answer)
            )
            connection.commit()
        return pause_ms

    def close_route(self, route_id: str, why: str) -> None:
        """Give up all that waits on a route."""
        with self._engine.connect().execution_options(writes=True) as connection:
            waiting = (notice_table.c.route == route_id) & (notice_table.c.state == WAITING)
            numbers = connection.execute(select(notice_table.c.number).where(waiting)).scalars()
            given_up = list(numbers)
            connection.execute(
                update(notice_table).where(waiting).values(state=GIVEN_UP, answer=why)
            )
            connection.commit()
        for number in given_up:
            self._record_end(number)

    def mend(self) -> int:
        """Write what a kill left out: the records of sendings that have ended.

        Returns:
            How many were written.
        """
        statement = (
            select(notice_table.c.number)
            .where(notice_table.c.state != WAITING)
            .order_by(notice_table.c.number.desc())
            .limit(_RECENT)
        )
        with self._engine.connect() as connection:
            ended = connection.execute(statement).scalars().all()
        return sum(self._record_end(number) for number in reversed(ended))

    def _end(
        self,
        connection: Connection,
        waiting: Waiting,
        state: str,
        answer: str,
        sent_at: str | None = None,
    ) -> None:
        connection.execute(
            update(notice_table)
            .where(notice_table.c.number == waiting.number, notice_table.c.state == WAITING)
            .values(state=state, tries=waiting.tries + 1, answer=answer, sent_at=sent_at)
        )

    def _record_end(self, number: int) -> bool:
        """Append how a sending ended to its batch's chain, once; never the address."""
        statement = (
            select(notice_table, route_table.c.name.label("route_name"))
            .join(route_table, route_table.c.id == notice_table.c.route)
            .where(notice_table.c.number == number)
        )
        with self._engine.connect() as connection:
            row = connection.execute(statement).mappings().one()
        record_id = id_of(f"{row['cause']} by {row['route']}")
        if self._journal.chains.find(record_id) is not None:
            return False
        body: dict[str, Any] = {
            "notice": id_of(row["cause"]),
            "cause": row["cause"],
            "route": row["route_name"],
            "state": row["state"],
            "tries": row["tries"],
            "answer": row["answer"],
            "sent_at": row["sent_at"],
        }
        at = format_ms(self._journal.now_ms())
        self._journal.chains.append(row["batch"], SENDING, body, at=at, record_id=record_id)
        return True
