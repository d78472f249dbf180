from __future__ import annotations

import hashlib
import json
import stat
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, text

from api.records.chain import Chains
from api.records.database import open_database
from api.records.hashing import canonical, link
from collector.errors import RecordConflictError, StoreError, StoreVersionError

AT = "2026-03-02T08:15:00.000Z"


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    opened = open_database(f"sqlite:///{tmp_path / 'records.sqlite3'}")
    yield opened
    opened.dispose()


@pytest.fixture
def chains(engine: Engine) -> Chains:
    return Chains(engine)


def test_a_chain_can_be_recomputed_from_the_stored_texts_with_nothing_but_sha_256(
    chains: Chains, engine: Engine
) -> None:
    for i in range(3):
        chains.append("b1", "event", {"kind": "note", "i": i}, at=AT)

    head = bytes(32)
    with engine.connect() as connection:
        rows = connection.execute(text("SELECT text, hash FROM entry ORDER BY number")).fetchall()
    for said, kept in rows:
        head = hashlib.sha256(head + said.encode()).digest()
        assert head.hex() == kept

    assert chains.head("b1") == (3, head.hex())
    assert chains.verify("b1") == []


def test_two_links_agree_with_values_computed_by_another_program() -> None:
    # Computed with sha256sum over 32 zero bytes followed by the text, then over that digest
    # followed by the second text.
    first = (
        '{"batch":"B0001","name":"coagulant_added","seq":1,"t":"2026-03-02T08:15:00Z",'
        '"type":"event"}'
    )
    second = (
        '{"ch":"vat1","seq":2,"t":"2026-03-02T08:15:01Z","type":"reading","unit":"Cel",'
        '"value":78.25}'
    )

    one = link(bytes(32), first)
    two = link(one, second)

    assert one.hex() == "657e705776e785486494afe0c0bced416d06f4b2efee0f01e423a05874bc2466"
    assert two.hex() == "31bf1261b2bb24c32327d94cc0bf8cb19db0329ec694f84d0381f29cb615d6d0"


def test_canonical_json_sorts_keys_and_refuses_what_is_not_finite() -> None:
    assert canonical({"b": 1, "a": "é"}) == '{"a":"é","b":1}'
    with pytest.raises(ValueError, match="JSON compliant"):
        canonical({"x": float("nan")})


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("UPDATE entry SET text = replace(text, '\"i\":1', '\"i\":7')", "text or one before"),
        ("UPDATE entry SET kind = 'weighing' WHERE position = 2", "columns"),
        ("DELETE FROM entry WHERE position = 2", "entry 2 is missing"),
        ("UPDATE entry SET hash = upper(hash) WHERE position = 1", "text or one before"),
        ("UPDATE entry SET hash = 'no hash' WHERE position = 1", "text or one before"),
        ("UPDATE entry SET text = '{' WHERE position = 2", "can't be read"),
        ("UPDATE entry SET text = '[]' WHERE position = 2", "can't be read"),
        ("UPDATE entry SET text = x'ff00' WHERE position = 2", "can't be read"),
        ("UPDATE entry SET number = 100 - number", "running number"),
    ],
)
def test_any_change_behind_its_back_is_found(
    chains: Chains, engine: Engine, change: str, told: str
) -> None:
    for i in range(3):
        chains.append("b1", "event", {"kind": "note", "i": i}, at=AT)
    with engine.begin() as connection:
        connection.exec_driver_sql(change)

    assert told in " ".join(fault.what for fault in chains.verify("b1"))


def test_a_record_whose_text_was_changed_is_told_when_it_is_read(
    chains: Chains, engine: Engine
) -> None:
    chains.append("b1", "event", {"kind": "note"}, at=AT)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE entry SET text = '{'")

    with pytest.raises(StoreError, match="number 1 can't be read") as caught:
        chains.read("b1")
    assert "curdwright verify" in caught.value.do


def test_the_same_id_and_body_again_changes_nothing(chains: Chains) -> None:
    first, new = chains.append("b1", "event", {"kind": "boil"}, at=AT, record_id="id-1")
    again, newer = chains.append("b1", "event", {"kind": "boil"}, at=AT, record_id="id-1")

    assert (new, newer) == (True, False)
    assert again == first
    assert chains.head("b1")[0] == 1


def test_the_same_id_with_another_body_is_refused(chains: Chains) -> None:
    chains.append("b1", "event", {"kind": "boil"}, at=AT, record_id="id-1")

    with pytest.raises(RecordConflictError, match="id-1 is taken"):
        chains.append("b1", "event", {"kind": "press"}, at=AT, record_id="id-1")


def test_a_repeat_is_told_by_what_was_said_whatever_the_clock_it_was_sent_by(
    chains: Chains,
) -> None:
    body = {"kind": "boil", "at": AT, "said": {"kind": "boil", "sent_at": "1"}}
    later = {"kind": "boil", "at": "later", "said": {"kind": "boil", "sent_at": "2"}}

    chains.append("b1", "event", body, at=AT, record_id="id-1")
    again, new = chains.append("b1", "event", later, at=AT, record_id="id-1")

    assert not new
    assert again.body["at"] == AT


def test_many_writers_make_one_sound_chain(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'records.sqlite3'}"
    engines = [open_database(address) for _ in range(3)]

    def write(engine: Engine) -> None:
        for i in range(15):
            Chains(engine).append("b1", "event", {"i": i}, at=AT)

    threads = [threading.Thread(target=write, args=(engine,)) for engine in engines]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert Chains(engines[0]).head("b1")[0] == 45
    assert Chains(engines[0]).verify("b1") == []
    for engine in engines:
        engine.dispose()


def test_a_database_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'records.sqlite3'}"
    engine = open_database(address)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'r9999'"))
    engine.dispose()

    with pytest.raises(StoreVersionError, match=r"r9999.*newer program"):
        open_database(address)


def test_a_folder_that_is_not_there_is_said_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="--data"):
        open_database(f"sqlite:///{tmp_path / 'no' / 'records.sqlite3'}")


def test_the_records_are_for_their_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite3"
    open_database(f"sqlite:///{path}").dispose()

    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_opening_twice_migrates_once(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'records.sqlite3'}"
    first = open_database(address)
    Chains(first).append("b1", "event", {"kind": "note"}, at=AT)
    first.dispose()

    second = open_database(address)

    assert Chains(second).head("b1")[0] == 1
    second.dispose()


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.dictionaries(
        st.text(max_size=5),
        st.one_of(
            st.text(max_size=9), st.integers(), st.floats(allow_nan=False, allow_infinity=False)
        ),
        max_size=5,
    )
)
def test_any_json_body_is_read_back_as_it_was(chains: Chains, body: dict[str, object]) -> None:
    entry, _ = chains.append("any", "event", body, at=AT)

    found = chains.find(entry.id)

    assert found is not None
    assert found.body == json.loads(json.dumps(body))
    assert chains.verify("any") == []
