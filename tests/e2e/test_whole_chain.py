"""One batch of known truth through every door: a serial line, a real broker, and HTTP.

The addition is marked 30 s late, the collector is killed with signal 9 while readings flow, the
pulp is mistyped by 100 g, and the probe is silent for 90 s in one of the holds.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.instruments.simulated.scenario import Played, fern_lane, play
from collector.readings import Quality
from collector.store.sqlite import SqliteStore

pytestmark = pytest.mark.e2e

SERIES = "small/milk"
PULP_ERROR_KG = 0.100
LATE_S = 30.0
GAP_S = 90.0


class Process:
    """One process of the program, started as a user's would be."""

    def __init__(self, log: Path, *arguments: str) -> None:
        self._command = [sys.executable, "-P", "-m", "api.cli", *arguments]
        self.log = log
        self.start()

    def start(self) -> None:
        with self.log.open("ab") as out:
            self._process = subprocess.Popen(
                self._command, stdout=out, stderr=out, cwd=self.log.parent
            )

    def kill(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()

    def kill_and_start(self) -> None:
        self.kill()
        self.start()

    def stop(self) -> int:
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGTERM)
        return self._process.wait(20)


class Site:
    """The HTTP interface, as any program would call it."""

    def __init__(self, address: str) -> None:
        self.address = address

    def get(self, path: str) -> Any:
        with urllib.request.urlopen(self.address + path) as answer:
            return json.load(answer)

    def post(self, path: str, body: Any, kind: str = "application/json") -> Any:
        request = urllib.request.Request(
            self.address + path, json.dumps(body).encode(), {"Content-Type": kind}
        )
        try:
            with urllib.request.urlopen(request) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            raise AssertionError(f"POST {path}: {error.code} {error.read().decode()}") from error


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Callable[..., Process]]:
    started: list[Process] = []

    def start(name: str, *arguments: str) -> Process:
        started.append(Process(tmp_path / f"{name}.log", *arguments))
        return started[-1]

    yield start
    for process in started:
        process.stop()
        print(process.log.name, process.log.read_text()[-3000:])  # shown only if the test failed


def rfc3339(time_s: float) -> str:
    seconds = np.datetime64(round(time_s * 1000), "ms")
    return f"{seconds}Z"


def batch_ending_now() -> Played:
    """Play the usual batch of pot North so that it ended a minute ago."""
    scenario = fern_lane("small")
    whole = play(scenario, seed=11)
    length_ms = int(whole.truth.events_s["end"] * 1000) - whole.start_ms
    start_ms = int(time.time() * 1000) - length_ms - 60_000
    return play(scenario, seed=11, start_ms=start_ms)


def recipe() -> dict[str, Any]:
    def minutes(value: float) -> dict[str, Any]:
        return {"value": value, "unit": "min"}

    def degc(value: float) -> dict[str, Any]:
        return {"value": value, "unit": "degC"}

    return {
        "name": "Soybean, gypsum, falling to 80",
        "ingredients": [{"name": "soybean"}],
        "steps": [
            {"kind": "soak"},
            {"kind": "grind"},
            {"kind": "strain"},
            {"kind": "heat"},
            {
                "kind": "boil",
                "hold": {
                    "name": "boil",
                    "low": degc(95),
                    "least": minutes(9),
                    "starts": "boil",
                    "ends": "addition",
                    "basis": "safety",
                },
            },
            {"kind": "addition", "target": {"value": 80, "unit": "degC"}},
            {
                "kind": "cover",
                "hold": {
                    "name": "covered hold",
                    "low": degc(65),
                    "least": minutes(13),
                    "starts": "cover",
                    "ends": "ladle",
                    "basis": "safety",
                },
            },
            {
                "kind": "set",
                "hold": {
                    "name": "hot stand",
                    "low": degc(78),
                    "least": minutes(10),
                    "starts": "set",
                    "ends": "ladle",
                    "basis": "safety",
                },
            },
            {"kind": "press"},
        ],
    }


def readings_of(played: Played) -> tuple[np.ndarray, np.ndarray]:
    """Return the milk probe's readings, with 90 s missing from the middle of the boil."""
    milk = played.at("milk")
    boil = played.truth.holds["hot"]
    middle_s = (boil.start_s + boil.end_s) / 2
    time_s = milk.time_ms / 1000.0
    kept = ~((time_s > middle_s - GAP_S / 2) & (time_s < middle_s + GAP_S / 2))
    return milk.time_ms[kept], milk.value[kept]


def test_a_batch_of_known_truth_comes_out_right_at_the_other_end(
    tmp_path: Path,
    mosquitto: Any,
    pty_line: Any,
    until: Any,
    free_port: int,
    processes: Callable[..., Process],
) -> None:
    broker = mosquitto(max_queued_messages=0)
    data = tmp_path / "kitchen"
    data.mkdir()
    (data / "curdwright.toml").write_text(
        f"""
[kitchen]
name = "Fern Lane"
altitude_m = 180

[[serial]]
port = "{pty_line.path}"
series = "small/bench"
unit = "kg"
pattern = "status-mode-weight-unit"

[[mqtt]]
host = "127.0.0.1"
port = {broker.port}
client_id = "fern-lane-collector"

[[mqtt.topics]]
filter = "fern-lane/#"
payload = "senml"
"""
    )
    site = Site(f"http://127.0.0.1:{free_port}")
    processes("serve", "serve", "--data", str(data), "--port", str(free_port))
    collector = processes("collect", "collect", "--data", str(data))
    until(lambda: _answers(site), "the server answers", 60.0)
    store = SqliteStore(data / "readings.sqlite3")
    until(lambda: len(store.clock_steps()) == 1, "the collector has begun")

    played = batch_ending_now()
    truth = played.truth

    # The milk probe over MQTT; the collector is killed half way and started again.
    time_ms, value = readings_of(played)
    publish(broker.port, time_ms, value, at_half=collector.kill_and_start)
    until(lambda: len(store.stretch(SERIES).time_ms) >= len(time_ms), "all readings are stored")

    # The scale under the pot over HTTP, each pack sent twice, as after a lost answer.
    under_pot = played.at("under_pot")
    stable = under_pot.stable & np.isfinite(under_pot.value) & (under_pot.fault == 0)
    for part in np.array_split(np.flatnonzero(stable), 8):
        pack = [
            {"n": "small/under-pot", "u": "kg", "t": int(t) / 1000.0, "v": float(v)}
            for t, v in zip(under_pot.time_ms[part], under_pot.value[part], strict=True)
        ]
        first = site.post("/v1/readings", pack, "application/senml+json")
        again = site.post("/v1/readings", pack, "application/senml+json")
        assert again["stored"] == 0
        assert again["repeated"] == first["stored"] + first["repeated"]

    site.post(
        f"/v1/instruments/{SERIES}/checks",
        {
            "kind": "dip",
            "time_constant": {"value": played.scenario.outfit.dip_s, "unit": "s"},
            "u": played.scenario.outfit.dip_u_s,
        },
    )
    made = site.post("/v1/recipes", recipe())
    batch = site.post(
        "/v1/batches",
        {
            "name": "Small, soybean",
            "pot": "Small",
            "recipe": made["id"],
            "thermometer": SERIES,
            "scale": "small/under-pot",
            "started_at": rfc3339(truth.events_s["heat"] - 60),
        },
    )
    record(site, batch["id"], played, pty_line)
    analysis = site.get(f"/v1/batches/{batch['id']}/analysis")

    pour = truth.pours[0]
    addition = analysis["addition"]
    for name, true_degc in (("before", pour.before_degc), ("after", pour.after_degc)):
        found = addition[name]
        error_k = abs(found["value"] - true_degc)
        assert error_k <= max(0.2, 2 * found["u"]), (name, found, true_degc)
        assert found["u"] < 0.6
    assert addition["placed_by"] == "dip"
    assert addition["predicted_after"]["value"] == pytest.approx(pour.after_degc, abs=1.0)

    verdicts = {hold["hold"]: hold for hold in analysis["holds"]}
    assert {name: hold["verdict"] for name, hold in verdicts.items()} == {
        "boil": "not shown",
        "covered hold": "met",
        "hot stand": "not met",
    }
    assert verdicts["boil"]["gap_s"] == pytest.approx(GAP_S, abs=3.0)

    balance = analysis["balance"]
    assert balance["test"]["passed"] is False
    assert any({"mash", "pulp"} <= set(suspects) for suspects in balance["test"]["suspects"])
    assert not any("whey" in suspects for suspects in balance["test"]["suspects"])

    # No reading lost, none doubled, whatever door it came through.
    for series, times, values in (
        (SERIES, time_ms, value),
        ("small/under-pot", under_pot.time_ms[stable], under_pot.value[stable]),
    ):
        kept = store.stretch(series)
        wanted = dict(zip(times.tolist(), values.tolist(), strict=True))
        assert kept.time_ms.tolist() == sorted(wanted)
        assert kept.value.tolist() == [wanted[t] for t in sorted(wanted)]
        assert set(kept.quality.tolist()) == {Quality.GOOD}
    store.close()
    verified = subprocess.run(
        [sys.executable, "-P", "-m", "api.cli", "verify", "--data", str(data)],
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert verified.returncode == 0, verified.stdout + verified.stderr


def record(site: Site, batch_id: str, played: Played, line: Any) -> None:
    """Mark and weigh as the maker did: the addition late, the pulp mistyped."""
    path = f"/v1/batches/{batch_id}"
    for kind, marked_s in played.marks_s.items():
        if kind == "end":
            continue
        at_s = played.truth.events_s[kind] + LATE_S if kind == "addition" else marked_s
        site.post(f"{path}/events", {"kind": kind, "at": rfc3339(at_s)})
    for stream, weighed in played.weighings.items():
        if stream in ("block", "soaked", "water"):  # the block goes on the bench scale below
            continue
        error_kg = PULP_ERROR_KG if stream == "pulp" else 0.0
        site.post(
            f"{path}/weighings",
            {
                "stream": stream,
                "mass": {"value": weighed.mass_kg + error_kg, "unit": "kg"},
                "u": weighed.u_kg,
            },
        )
    block_kg = played.weighings["block"].mass_kg
    weigh_on_bench(site, path, line, block_kg)
    site.post(
        f"{path}/observations",
        {
            "quantity": "hand_temperature",
            "value": played.truth.pours[0].slurry_degc,
            "unit": "degC",
            "u": 0.5,
            "of": "coagulant_water",
            "at": rfc3339(played.truth.pours[0].start_s - 60),
        },
    )
    site.post(f"{path}/events", {"kind": "end"})


def weigh_on_bench(site: Site, path: str, line: Any, mass_kg: float) -> None:
    """Put the block on the bench scale, whose line ends in the program's serial port."""
    deadline = time.monotonic() + 20
    while True:
        line.write(f"US,GS,+{mass_kg - 0.4:8.3f}kg\r\n".encode())
        line.write(f"ST,GS,+{mass_kg:8.3f}kg\r\n".encode())
        try:
            found = site.post(f"{path}/weighings", {"stream": "block", "from_scale": "small/bench"})
        except AssertionError:
            assert time.monotonic() < deadline
            time.sleep(0.05)  # until the line's reading has arrived
            continue
        assert found["net_kg"] == pytest.approx(mass_kg)
        return


def publish(
    port: int, time_ms: np.ndarray, value: np.ndarray, at_half: Callable[[], object]
) -> None:
    """Publish each reading with QoS 1, as a probe does, and wait until the broker has them all."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "north-probe", protocol=mqtt.MQTTv5)
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", port)
    client.loop_start()
    sent = []
    for number, (t, v) in enumerate(zip(time_ms.tolist(), value.tolist(), strict=True)):
        if number == len(time_ms) // 2:
            at_half()
        pack = [{"n": SERIES, "u": "Cel", "t": t / 1000.0, "v": v}]
        sent.append(client.publish("fern-lane/north", json.dumps(pack), qos=1))
    for message in sent:
        message.wait_for_publish(30)
    client.disconnect()
    client.loop_stop()


def _answers(site: Site) -> bool:
    try:
        return bool(site.get("/healthz")["status"] == "ok")
    except OSError:
        return False
