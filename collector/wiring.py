# SPDX-License-Identifier: MIT
"""From the configuration to instruments: one for each port, broker, file and simulated pot.

And to the forwarding to a central engine. Imports the configuration and what it names; opens
nothing.
"""

from __future__ import annotations

from pathlib import Path

from collector.config import Broker, Config, Replay, SerialLine
from collector.config_sections import SimulatedPot as SimulatedSection
from collector.forward import Forwarder
from collector.forward_engine import EngineSettings, LineEngine
from collector.frames.names import as_series
from collector.instruments.guarded import guarded
from collector.instruments.mqtt import MqttInstrument
from collector.instruments.mqtt_link import BrokerSettings
from collector.instruments.mqtt_topics import Subscription
from collector.instruments.port_reader import LineSettings
from collector.instruments.protocol import Clock, Instrument
from collector.instruments.replay import ReplayFile, ReplayInstrument
from collector.instruments.serial_line import LineRules, SerialInstrument
from collector.instruments.simulated.simulated_pot import SimulatedPot, Wanted, simulated_pot
from collector.store.sqlite import SqliteStore


def instruments_of(config: Config, clock: Clock) -> list[Instrument]:
    """Return the instruments that a configuration names, in its order.

    Args:
        config: The whole configuration.
        clock: Stamps what comes.

    Returns:
        Instruments that wait to be asked for their deliveries.
    """
    data_dir = config.data_dir
    return [
        *(serial_instrument(line, clock) for line in config.serial),
        *(mqtt_instrument(broker, clock, data_dir) for broker in config.mqtt),
        *(replay_instrument(replay, clock, data_dir) for replay in config.replay),
        *(simulated_instrument(pot, clock) for pot in config.simulated),
    ]


def serial_instrument(line: SerialLine, clock: Clock) -> SerialInstrument:
    """Return the instrument on a serial port."""
    settings = LineSettings(
        port=line.port,
        baud=line.baud,
        bytesize=line.bytesize,
        parity=line.parity,
        stopbits=line.stopbits,
        signals=line.dtr,
        poll=line.poll_bytes,
        poll_interval_s=line.poll_interval_s,
        silence_s=line.silence_s,
    )
    rules = LineRules(
        series=line.series,
        decoder=guarded(line.decoder(), line.guard()),
        terminator=line.terminator_bytes,
        ignore_first_s=line.ignore_first_s,
        patience_s=line.patience_s,
    )
    return SerialInstrument(settings, rules, clock)


def mqtt_instrument(broker: Broker, clock: Clock, data_dir: Path) -> MqttInstrument:
    """Return the instruments behind a broker; its session's filters are kept in `data_dir`."""
    settings = BrokerSettings(
        host=broker.host,
        port=broker.port,
        client_id=broker.client_id,
        username=broker.username,
        password=broker.password.get_secret_value() if broker.password else None,
        tls=broker.tls,
        tls_ca_file=broker.tls_ca_file,
        session_expiry_s=broker.session_expiry_s,
        receive_maximum=broker.receive_maximum,
        keepalive_s=broker.keepalive_s,
        status_topic=broker.status_topic,
    )
    subscriptions = [
        Subscription(topic.filter, guarded(topic.decoder(), topic.guard()))
        for topic in broker.topics
    ]
    session = as_series(f"{broker.client_id}-{broker.host}-{broker.port}").replace("/", "_")
    memory = data_dir / f"mqtt-session-{session.replace(':', '_')}.json"
    return MqttInstrument(settings, subscriptions, clock, memory=memory)


def replay_instrument(replay: Replay, clock: Clock, data_dir: Path) -> ReplayInstrument:
    """Return the instrument that plays a file; a relative path lies in `data_dir`."""
    file = ReplayFile(data_dir / replay.file, replay.series, replay.speed)
    return ReplayInstrument(file, clock)


def simulated_instrument(pot: SimulatedSection, clock: Clock) -> SimulatedPot:
    """Return a pot that exists only in the computer."""
    wanted = Wanted(pot.name, pot.series_prefix, pot.seed, pot.speed, pot.options)
    return simulated_pot(wanted, clock)


def forwarder_of(config: Config) -> Forwarder | None:
    """Return what ships readings to the central engine, None where none is configured."""
    wanted = config.forward
    if wanted is None:
        return None
    settings = EngineSettings(
        url=wanted.url,
        token=wanted.token.get_secret_value() if wanted.token else "",
        token_env=wanted.token_env,
        org=wanted.org,
        bucket=wanted.bucket,
        site=wanted.site,
        compressed=not wanted.on_this_machine,
    )
    return Forwarder(
        lambda: SqliteStore(config.readings_path),
        lambda: LineEngine(settings),
        name=wanted.url,
        site=wanted.site,
        limit=wanted.readings_per_write,
    )
