from __future__ import annotations

from pathlib import Path
from typing import Protocol

import pytest

from collector.config import Config, load_config
from collector.errors import ConfigError


class Read(Protocol):
    def __call__(self, text: str, **environ: str) -> Config: ...


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def load(text: str, **environ: str) -> Config:
        (tmp_path / "curdwright.toml").write_text(text, encoding="utf-8")
        return load_config(None, tmp_path, environ=environ)

    return load


def test_a_sounder_on_a_port_is_told_the_bytes_of_its_configuration(read: Read) -> None:
    text = '[[sounder]]\nname = "hall"\nport = "/dev/ttyUSB7"\non = "\\u00a0\\u0001"\noff = "x"\n'

    (sounder,) = read(text).sounder

    assert (sounder.on_bytes, sounder.off_bytes) == (b"\xa0\x01", b"x")
    assert (sounder.least_priority, sounder.longest_min) == ("medium", 0.0)


def test_without_bytes_of_its_own_it_is_told_a_letter_and_a_line_end(read: Read) -> None:
    (sounder,) = read('[[sounder]]\nname = "hall"\nport = "/dev/ttyUSB7"\n').sounder

    assert (sounder.on_bytes, sounder.off_bytes) == (b"A\n", b"a\n")


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ("", "give either port"),
        ('port = "/dev/x"\nhost = "h"\ntopic = "t"', "give either port"),
        ('host = "h"', "belong together"),
        ('port = "/dev/x"\non = "a\\n"', "must differ"),
        ('port = "/dev/x"\non = ""', "1 to 64"),
        ('port = "/dev/x"\non = "\\u2020"', "1 to 64"),
        ('host = "h"\ntopic = "lamp/#"', "topic"),
        ('host = "h"\ntopic = "t"\npassword_env = "LAMP"', "LAMP is not set"),
        ('host = "h"\ntopic = "t"\npassword = "open-sesame"', "isn't kept in the file"),
        ('port = "/dev/x"\nrepeat_s = 0', "repeat_s"),
    ],
)
def test_a_sounder_that_can_t_be_is_told_with_what_to_do(read: Read, more: str, fault: str) -> None:
    with pytest.raises(ConfigError) as refused:
        read(f'[[sounder]]\nname = "hall"\n{more}\n')

    assert fault in str(refused.value) and "sounder[0]" in str(refused.value)
    assert "open-sesame" not in str(refused.value)


def test_two_sounders_need_two_names_and_two_ports(read: Read) -> None:
    one = '[[sounder]]\nname = "hall"\nport = "/dev/x"\n'

    with pytest.raises(ConfigError) as refused:
        read(one + one)

    assert "'/dev/x' is used at sounder[0].port already" in str(refused.value)
    assert "'hall' is used at sounder[0].name already" in str(refused.value)


def test_a_lamp_s_password_comes_from_the_environment_and_is_shown_nowhere(read: Read) -> None:
    text = '[[sounder]]\nname = "l"\nhost = "lamp.example"\ntopic = "t"\npassword_env = "LAMP"\n'

    config = read(text, LAMP="open-sesame")

    password = config.sounder[0].password
    assert password is not None and password.get_secret_value() == "open-sesame"
    assert "sesame" not in repr(config)
    assert "travels in clear" in config.warnings[0]


@pytest.mark.parametrize("contact", ["anna", "mailto:anna", "http://fern.example"])
def test_a_contact_is_an_address_that_a_push_service_may_write_to(read: Read, contact: str) -> None:
    with pytest.raises(ConfigError, match="contact"):
        read(f'[notices]\ncontact = "{contact}"\n')
