# SPDX-License-Identifier: MIT
"""The routes by which notices go. Imports SQLAlchemy and the records.

An address holds secrets: it stays in its own table, and neither a chain, a log nor an answer ever
gets more of it than `api.watch.addresses.masked` shows.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from sqlalchemy import Engine, func, insert, select, update

from api.records.journal import Journal
from api.records.tables import notice as notice_table
from api.records.tables import route as route_table
from api.times import format_ms
from api.watch.message import Outcome
from api.watch.notice_book import WAITING
from api.watch.outbox import Outbox
from collector.errors import RecordConflictError, UnknownRecordError


@dataclass(frozen=True, slots=True)
class Route:
    """Where notices go.

    Attributes:
        id: Its id.
        name: What the maker calls it.
        address: As apprise takes it, with its secrets.
        proven_at: When the service last took a message, RFC 3339; None if it never did, or if
            the last test failed.
        waiting: How many notices wait to go by it.
        alive_every_min: How often it is told that the watch is alive; None for never [min].
        tell_stop: It is told when the watch is stopped on purpose.
        alive_at: When it last took the word that the watch is alive, RFC 3339.
        alive_answer: What its service said to that last.
        gone: Why nothing is sent by it any more; "" while it stands.
    """

    id: str
    name: str
    address: str
    proven_at: str | None
    waiting: int
    alive_every_min: int | None = None
    tell_stop: bool = False
    alive_at: str | None = None
    alive_answer: str = ""
    gone: str = ""


class RouteBook:
    """Keeps the routes."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    @property
    def _engine(self) -> Engine:
        return self._journal.engine

    def routes(self) -> list[Route]:
        """Return the routes that stand, by name."""
        waiting = (
            select(func.count())
            .where(notice_table.c.route == route_table.c.id, notice_table.c.state == WAITING)
            .scalar_subquery()
        )
        statement = (
            select(route_table, waiting.label("waiting"))
            .where(route_table.c.address != "")
            .order_by(route_table.c.name)
        )
        with self._engine.connect() as connection:
            rows = connection.execute(statement).mappings().all()
        return [Route(**row) for row in rows]

    def route(self, route_id: str) -> Route:
        """Return one route.

        Raises:
            UnknownRecordError: There is no such route.
        """
        found = next((route for route in self.routes() if route.id == route_id), None)
        if found is None:
            raise UnknownRecordError(
                f"There is no route {route_id!r}.", do="Look at GET /v1/notices/routes."
            )
        return found

    def add_route(
        self, name: str, address: str, *, route_id: str | None, who: str
    ) -> tuple[str, bool]:
        """Add a route; the same id, name and address again changes nothing.

        Returns:
            Its id, and whether it is new.

        Raises:
            RecordConflictError: The id or the name is taken.
        """
        made = route_id or str(uuid.uuid4())
        with self._engine.connect().execution_options(writes=True) as connection:
            known = connection.execute(
                select(route_table).where(
                    (route_table.c.id == made)
                    | ((route_table.c.name == name) & (route_table.c.address != ""))
                )
            ).mappings().all()  # fmt: skip
            if any(
                (row["id"], row["name"], row["address"]) == (made, name, address) for row in known
            ):
                return made, False
            if known:
                raise RecordConflictError(
                    f"There is a route {known[0]['name']!r} already.",
                    where="name",
                    do="Give another name, or take the route back first with withdraws.",
                )
            connection.execute(insert(route_table).values(id=made, name=name, address=address))
            connection.commit()
        self._journal.keep("route", {"route": made, "name": name}, who=who)
        return made, True

    def remove_route(self, route_id: str, *, who: str) -> Route:
        """Take a route back: its address is forgotten, what waits on it is given up.

        Raises:
            UnknownRecordError: There is no such route.
        """
        route = self.route(route_id)
        with self._engine.connect().execution_options(writes=True) as connection:
            connection.execute(
                update(route_table)
                .where(route_table.c.id == route_id)
                .values(address="", proven_at=None)
            )
            connection.commit()
        Outbox(self._journal).close_route(route_id, "the route was taken back")
        self._journal.keep("route", {"route": route_id, "name": route.name, "gone": True}, who=who)
        return route

    def set_alive(
        self, route_id: str, every_min: int | None, *, tell_stop: bool, who: str
    ) -> Route:
        """Set how often a route is told that the watch is alive.

        Raises:
            UnknownRecordError: There is no such route.
        """
        route = self.route(route_id)
        with self._engine.connect().execution_options(writes=True) as connection:
            connection.execute(
                update(route_table)
                .where(route_table.c.id == route_id)
                .values(alive_every_min=every_min, tell_stop=tell_stop)
            )
            connection.commit()
        said = {"route": route_id, "name": route.name}
        self._journal.keep(
            "route", {**said, "alive_every_min": every_min, "tell_stop": tell_stop}, who=who
        )
        return self.route(route_id)

    def told_alive(self, route_id: str, outcome: Outcome) -> None:
        """Keep what a route's service said to the word that the watch is alive."""
        values: dict[str, object] = {"alive_answer": outcome.answer}
        if outcome.taken:
            values["alive_at"] = format_ms(self._journal.now_ms())
        with self._engine.connect().execution_options(writes=True) as connection:
            connection.execute(
                update(route_table).where(route_table.c.id == route_id).values(**values)
            )
            connection.commit()

    def is_gone(self, route: Route, why: str) -> None:
        """Keep that a route is no more: all that waits on it is given up."""
        with self._engine.connect().execution_options(writes=True) as connection:
            connection.execute(
                update(route_table)
                .where(route_table.c.id == route.id)
                .values(gone=why, proven_at=None)
            )
            connection.commit()
        Outbox(self._journal).close_route(route.id, why)

    def tested(self, route: Route, outcome: Outcome, *, who: str) -> str | None:
        """Keep how the test of a route ended, and return since when it is proven."""
        at = format_ms(self._journal.now_ms())
        proven_at = at if outcome.taken else None
        if outcome.gone:
            self.is_gone(route, outcome.answer)
        with self._engine.connect().execution_options(writes=True) as connection:
            connection.execute(
                update(route_table).where(route_table.c.id == route.id).values(proven_at=proven_at)
            )
            connection.commit()
        said = {"route": route.id, "name": route.name, "answer": outcome.answer}
        self._journal.keep("route_test", {**said, "taken": outcome.taken}, who=who)
        return proven_at
