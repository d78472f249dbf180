"""Routes that refuse, hang, are dead or come back, against real web hooks."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.e2e.conftest import Until
    from tests.e2e.notices.conftest import Hook, Staffed

pytestmark = pytest.mark.e2e


def test_a_route_that_fails_three_times_and_then_works_delivers_once(
    staffed: Staffed, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    hook.refusals = 3
    staffed.route("phone", hook.address)

    staffed.cross("North")
    until(lambda: staffed.tries() == [("sent", 4)], "it was taken at the fourth try")

    assert hook.taken == ["North: passing 80 degC, rising"]
    assert len(hook.tried) == 4


def test_a_route_that_comes_back_gets_everything_once_and_in_order(
    staffed: Staffed, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    hook.refusals = 3
    staffed.route("phone", hook.address)
    pots = ["North", "South", "Small"]

    for number, pot in enumerate(pots):
        staffed.cross(pot)
        until(lambda number=number: len(staffed.tries()) == number + 1, "it is to be told")  # type: ignore[misc]
    until(lambda: [s for s, _ in staffed.tries()] == ["sent"] * 3, "all of them are sent")

    assert hook.taken == [f"{pot}: passing 80 degC, rising" for pot in pots]


def test_a_route_that_hangs_or_is_dead_holds_up_no_other(
    staffed: Staffed, hooks: Callable[..., Hook], free_port: int, until: Until
) -> None:
    hanging, phone = hooks(), hooks()
    hanging.gate.clear()
    staffed.route("hanging", hanging.address)
    staffed.route("dead", f"json://127.0.0.1:{free_port}/x")
    staffed.route("phone", phone.address)

    for pot in ("North", "South"):
        staffed.cross(pot)
        until(lambda pot=pot: [t for t in phone.taken if pot in t], "the phone has it")  # type: ignore[misc]

    assert hanging.tried == ["North: passing 80 degC, rising"]
    assert hanging.taken == []
    hanging.gate.set()
    until(lambda: len(hanging.taken) >= 2, "the hanging route goes on in its order")
    assert hanging.taken[-1] == "South: passing 80 degC, rising"


def test_a_notice_older_than_a_day_is_given_up_and_said_so(
    staffed: Staffed, free_port: int, until: Until
) -> None:
    staffed.route("dead", f"json://127.0.0.1:{free_port}/x")
    staffed.cross("North")
    until(lambda: [t for _, t in staffed.tries() if t], "it was tried in vain")
    with staffed.kitchen.journal.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE notice SET made_at = '2026-03-02T08:15:00.000Z'")
    staffed.post.wake()

    until(lambda: [s for s, _ in staffed.tries()] == ["given up"], "it is given up")

    batch = staffed.kitchen.journal.batches()[0].id
    chains = staffed.kitchen.journal.chains
    until(lambda: chains.of_kind(batch, "notice_sent"), "the batch's record says so")
    (said,) = chains.of_kind(batch, "notice_sent")
    assert said.body["state"] == "given up"
    assert said.body["answer"].startswith("given up after 24 h and")
    assert chains.verify(batch) == []
