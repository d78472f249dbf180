from __future__ import annotations

import asyncio
import threading

from collector.instruments.inbox import Inbox


def test_what_threads_put_in_comes_out_whole_and_in_order() -> None:
    async def main() -> list[tuple[int, int]]:
        inbox: Inbox[tuple[int, int]] = Inbox(asyncio.get_running_loop())

        def put(thread: int) -> None:
            for number in range(2000):
                inbox.put((thread, number))

        threads = [threading.Thread(target=put, args=(n,)) for n in range(3)]
        for thread in threads:
            thread.start()
        taken: list[tuple[int, int]] = []
        while len(taken) < 6000:
            taken += await inbox.take()
        for thread in threads:
            thread.join()
        return taken

    taken = asyncio.run(main())
    for thread in range(3):
        assert [n for t, n in taken if t == thread] == list(range(2000))


def test_one_waking_brings_all_that_has_come() -> None:
    async def main() -> list[int]:
        inbox: Inbox[int] = Inbox(asyncio.get_running_loop())
        for number in range(5):
            inbox.put(number)
        return await inbox.take()

    assert asyncio.run(main()) == [0, 1, 2, 3, 4]


def test_putting_into_the_inbox_of_a_closed_loop_does_no_harm() -> None:
    loop = asyncio.new_event_loop()
    inbox: Inbox[int] = Inbox(loop)
    loop.close()
    inbox.put(1)
