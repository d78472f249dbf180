"""The configuration file: defaults, faults all at once, secrets, warnings."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from collector.config import EXAMPLE, Config, load_config
from collector.errors import ConfigError
from collector.frames.lines import LineDecoder
from collector.frames.number import NumberDecoder
from collector.frames.pointer import PointerDecoder
from collector.frames.senml import SenmlDecoder


def _load(folder: Path, text: str, **environ: str) -> Config:
    file = folder / "curdwright.toml"
    file.write_text(text, encoding="utf-8")
    return load_config(file, folder, environ=environ)


def _faults(folder: Path, text: str, **environ: str) -> tuple[str, ...]:
    with pytest.raises(ConfigError) as caught:
        _load(folder, text, **environ)
    return caught.value.faults


def test_without_a_file_the_defaults_hold(tmp_path: Path) -> None:
    config = load_config(None, tmp_path, environ={})
    assert (config.kitchen.name, config.kitchen.zone) == ("Kitchen", "UTC")
    assert config.readings_path == tmp_path / "readings.sqlite3"
    assert (config.serial, config.mqtt, config.forward, config.source) == ((), (), None, None)


def test_the_file_in_the_data_folder_is_read_by_itself(tmp_path: Path) -> None:
    file = tmp_path / "curdwright.toml"
    file.write_text('[kitchen]\nname = "Fern Lane"\n')
    config = load_config(None, tmp_path, environ={})
    assert (config.kitchen.name, config.source) == ("Fern Lane", file)


def test_the_environment_may_name_another_file(tmp_path: Path) -> None:
    (tmp_path / "other.toml").write_text('[kitchen]\nname = "Fern Lane"\n')
    environ = {"CURDWRIGHT_CONFIG": str(tmp_path / "other.toml")}
    assert load_config(None, tmp_path / "data", environ=environ).kitchen.name == "Fern Lane"


@pytest.mark.parametrize("by_environment", [False, True])
def test_a_named_file_that_is_missing_is_an_error(tmp_path: Path, by_environment: bool) -> None:
    missing = tmp_path / "missing.toml"
    environ = {"CURDWRIGHT_CONFIG": str(missing)} if by_environment else {}
    with pytest.raises(ConfigError, match="does not exist") as caught:
        load_config(None if by_environment else missing, tmp_path, environ=environ)
    assert caught.value.where == str(missing)


def test_a_folder_in_the_place_of_the_file_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="can't be read"):
        load_config(tmp_path, tmp_path, environ={})


def test_the_example_is_a_configuration_and_builds_its_decoders(tmp_path: Path) -> None:
    secrets = {"CURDWRIGHT_MQTT_PASSWORD": "fern", "CURDWRIGHT_ENGINE_TOKEN": "basil"}
    config = _load(tmp_path, EXAMPLE, **secrets)
    scale, probe = config.serial
    assert scale.decoder() == LineDecoder(
        series="north/scale", unit="kg", pattern="status-mode-weight-unit"
    )
    assert (probe.poll_bytes, probe.terminator_bytes) == (b"T?\r\n", b"\r\n")
    assert probe.guard() is not None
    assert scale.guard() is None
    decoders = [topic.decoder() for topic in config.mqtt[0].topics]
    assert decoders == [
        SenmlDecoder(),
        NumberDecoder("{2}/milk", "Cel"),
        PointerDecoder("/probe/temperature", series="south/milk", unit="Cel", time_pointer="/time"),
    ]
    assert config.warnings == ()


def test_the_broker_defaults_keep_messages_for_a_week(tmp_path: Path) -> None:
    text = '[[mqtt]]\nclient_id = "a"\n[[mqtt.topics]]\nfilter = "a"\n'
    (broker,) = _load(tmp_path, text).mqtt
    assert (broker.host, broker.port, broker.tls) == ("127.0.0.1", 1883, False)
    assert (broker.session_expiry_s, broker.receive_maximum, broker.keepalive_s) == (604800, 32, 30)


def test_the_serial_defaults_are_the_usual_line(tmp_path: Path) -> None:
    text = '[[serial]]\nport = "/dev/serial/by-id/a"\nseries = "a"\npattern = "number"\n'
    (line,) = _load(tmp_path, text).serial
    assert (line.baud, line.bytesize, line.parity, line.stopbits) == (9600, 8, "N", 1)
    assert (line.mode, line.dtr, line.terminator_bytes) == ("continuous", False, None)


_MANY_FAULTS = """
[kitchen]
zon = "UTC"
zone = "Mars/Base"
altitude_m = 99999
[store]
kind = "paper"
file = "../readings.sqlite3"
[[serial]]
port = "/dev/serial/by-id/a"
serie = "north/scale"
baud = "9600"
pattern = "nope"
mode = "polled"
[[serial]]
port = "/dev/serial/by-id/a"
series = "a b"
unit = "stone"
stopbits = 3
expression = "("
[[mqtt]]
password = "hunter2"
[[mqtt.topics]]
filter = "a/#/b"
payload = "json"
unit = "Cel"
unit_pointer = "/u"
time_pointer = "t"
[[mqtt]]
client_id = "a"
topics = []
[[mqtt]]
client_id = "a"
[[mqtt.topics]]
filter = "a/b+"
series = "x"
[forward]
url = "ftp://x"
token_env = "FERN_TOKEN"
[nonsense]
"""

_THEIR_PATHS = {
    "kitchen.zon", "kitchen.zone", "kitchen.altitude_m", "store.kind", "store.file",
    "serial[0].series", "serial[0].serie", "serial[0].baud", "serial[0].pattern", "serial[0].poll",
    "serial[1].port", "serial[1].series", "serial[1].unit", "serial[1].stopbits",
    "serial[1].expression", "mqtt[0].client_id", "mqtt[0].password", "mqtt[0].topics[0].filter",
    "mqtt[0].topics[0].value_pointer", "mqtt[0].topics[0].unit_pointer",
    "mqtt[0].topics[0].time_pointer", "mqtt[1].topics", "mqtt[2].client_id",
    "mqtt[2].topics[0].filter", "mqtt[2].topics[0].series", "forward.url", "forward.token_env",
    "forward.org", "forward.bucket", "nonsense",
}  # fmt: skip


def test_all_faults_are_told_at_once_each_with_its_key_path(tmp_path: Path) -> None:
    faults = _faults(tmp_path, _MANY_FAULTS)
    assert {fault.partition(": ")[0] for fault in faults} == _THEIR_PATHS
    assert len(faults) == len(_THEIR_PATHS)


def test_a_fault_shows_what_was_given_and_never_a_secret(tmp_path: Path) -> None:
    text = "\n".join(_faults(tmp_path, _MANY_FAULTS))
    assert "99999" in text
    assert "hunter2" not in text


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ('[kitchen]\nzon = "UTC"\n', "kitchen.zon: there is no such key. Did you mean zone?"),
        ("[kichen]\n", "kichen: there is no such key. Did you mean kitchen?"),
        (
            '[[mqtt]]\nclient_id = "a"\n[[mqtt.topics]]\nfilter = "a"\nfiltre = "b"\n',
            "mqtt[0].topics[0].filtre: there is no such key. Did you mean filter?",
        ),
    ],
)
def test_an_unknown_key_comes_with_the_nearest_known_one(
    tmp_path: Path, text: str, advice: str
) -> None:
    assert _faults(tmp_path, text) == (advice,)


def test_an_unknown_key_near_to_none_comes_with_all_known_ones(tmp_path: Path) -> None:
    (fault,) = _faults(tmp_path, "[store]\nxyzzy = 1\n")
    assert fault == "store.xyzzy: there is no such key. Known are kind, file."


def test_a_syntax_error_names_its_line(tmp_path: Path) -> None:
    (fault,) = _faults(tmp_path, '[kitchen]\nname = "Fern Lane\n')
    assert fault.startswith("line 2, column ")


def test_a_file_that_is_not_utf8_names_its_line(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes(b'[kitchen]\nname = "K\xfcche"\n')
    with pytest.raises(ConfigError, match="line 2: not UTF-8"):
        load_config(file, tmp_path, environ={})


def test_a_file_saved_with_a_byte_order_mark_and_crlf_is_read(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes(b'\xef\xbb\xbf[kitchen]\r\nname = "Fern Lane"\r\n')
    assert load_config(file, tmp_path, environ={}).kitchen.name == "Fern Lane"


def test_a_single_bracket_where_two_belong_is_explained(tmp_path: Path) -> None:
    (fault,) = _faults(tmp_path, '[serial]\nport = "a"\n')
    assert fault.startswith("serial: ")
    assert "[[" in fault


def test_what_the_program_sets_can_not_be_set_in_the_file(tmp_path: Path) -> None:
    (fault,) = _faults(tmp_path, 'data_dir = "/tmp"\n')
    assert fault.startswith("data_dir: ")


_WITH_PASSWORD = """
[[mqtt]]
client_id = "a"
host = "{host}"
username = "collector"
password_env = "FERN_PASSWORD"
[[mqtt.topics]]
filter = "a"
"""


def test_a_secret_comes_from_its_variable_and_is_not_shown(tmp_path: Path) -> None:
    config = _load(tmp_path, _WITH_PASSWORD.format(host="127.0.0.1"), FERN_PASSWORD="basil")
    (broker,) = config.mqtt
    assert broker.password is not None
    assert broker.password.get_secret_value() == "basil"
    assert "basil" not in repr(config) + str(config.model_dump())


def test_a_variable_that_is_not_set_is_a_fault(tmp_path: Path) -> None:
    (fault,) = _faults(tmp_path, _WITH_PASSWORD.format(host="127.0.0.1"))
    assert fault.startswith("mqtt[0].password_env: the environment variable FERN_PASSWORD is not")


def test_whoever_needs_no_secret_needs_no_variable(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text(_WITH_PASSWORD.format(host="127.0.0.1"))
    config = load_config(file, tmp_path, environ={}, with_secrets=False)
    assert config.mqtt[0].password is None


def test_what_may_fail_one_day_is_a_warning(tmp_path: Path) -> None:
    text = _WITH_PASSWORD.format(host="192.0.2.7") + (
        '[[mqtt.topics]]\nfilter = "k/#"\npayload = "number"\nseries = "x"\nunit = "Cel"\n'
        '[[serial]]\nport = "/dev/ttyUSB0"\nseries = "y"\npattern = "number"\nunit = "Cel"\n'
    )
    plain, clear, wild = _load(tmp_path, text, FERN_PASSWORD="basil").warnings
    assert plain.startswith("serial[0].port: /dev/ttyUSB0")
    assert "/dev/serial/by-id/" in plain
    assert clear.startswith("mqtt[0].tls: ")
    assert wild.startswith("mqtt[0].topics[1].series: ")


def test_a_configuration_can_not_be_changed(tmp_path: Path) -> None:
    config = load_config(None, tmp_path, environ={})
    with pytest.raises(ValidationError):
        config.kitchen.name = "Other"


@pytest.mark.parametrize("filter_", ["a/#", "#", "+/a", "a/+/b/#", "/", "a//b"])
def test_filters_that_mqtt_allows_are_taken(tmp_path: Path, filter_: str) -> None:
    text = f'[[mqtt]]\nclient_id = "a"\n[[mqtt.topics]]\nfilter = "{filter_}"\n'
    assert _load(tmp_path, text).mqtt[0].topics[0].filter == filter_


@pytest.mark.parametrize("file", ["/etc/x", "a/../../x", "..", "", "C:\\\\x"])
def test_the_readings_stay_inside_the_data_folder(tmp_path: Path, file: str) -> None:
    (fault,) = _faults(tmp_path, f'[store]\nfile = "{file}"\n')
    assert fault.startswith("store.file: ")


def test_a_pot_that_is_simulated_takes_options_of_its_own(tmp_path: Path) -> None:
    text = '[[simulated]]\nname = "North"\nspeed = 60\n[simulated.options]\nhob_power_w = 1800\n'
    (pot,) = _load(tmp_path, text).simulated
    assert (pot.speed, pot.options) == (60.0, {"hob_power_w": 1800})


def test_filters_that_overlap_are_refused_since_messages_would_come_twice(tmp_path: Path) -> None:
    text = (
        '[[mqtt]]\nclient_id = "a"\n[[mqtt.topics]]\nfilter = "k/#"\n'
        '[[mqtt.topics]]\nfilter = "k/+/milk"\n'
    )
    with pytest.raises(ConfigError) as raised:
        _load(tmp_path, text)
    (fault,) = raised.value.faults
    assert fault.startswith("mqtt[0].topics[1].filter: 'k/+/milk' overlaps mqtt[0].topics[0]")


@pytest.mark.parametrize("topic", ["a/#", "a/+/b", ""])
def test_a_status_topic_is_one_topic_without_wildcards(tmp_path: Path, topic: str) -> None:
    text = '[[mqtt]]\nclient_id = "a"\nstatus_topic = "{}"\n[[mqtt.topics]]\nfilter = "a"\n'
    assert _load(tmp_path, text.format("kitchen/status")).mqtt[0].status_topic == "kitchen/status"
    with pytest.raises(ConfigError, match=r"mqtt\[0\]\.status_topic: it must"):
        _load(tmp_path, text.format(topic))
