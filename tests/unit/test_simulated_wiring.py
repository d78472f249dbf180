# SPDX-License-Identifier: MIT
"""A simulated pot of the configuration becomes an instrument of the collector."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.config import load_config
from collector.errors import ConfigError
from collector.instruments.simulated.simulated_pot import SimulatedPot
from collector.wiring import instruments_of

TEXT = """
[[simulated]]
name = "South"
seed = 5
series_prefix = "fern-lane/south"
[simulated.options]
target_degc = 77.0
"""


class StoppedClock:
    """A clock that stands still."""

    def now_ms(self) -> int:
        """Return always the same time."""
        return 1_767_254_400_000


def test_the_pot_of_the_configuration_is_wired(tmp_path: Path) -> None:
    file = tmp_path / "curdwright.toml"
    file.write_text(TEXT)

    (pot,) = instruments_of(load_config(file, tmp_path, environ={}), StoppedClock())

    assert isinstance(pot, SimulatedPot)
    assert pot.name == "South"
    assert pot.pot.series("under_pot") == "fern-lane/south/under-pot"
    assert pot.pot.scenario.target.value_degc == 77.0
    assert pot.pot.seed == 5


def test_an_unknown_option_is_a_fault_of_the_configuration(tmp_path: Path) -> None:
    file = tmp_path / "curdwright.toml"
    file.write_text(TEXT.replace("target_degc", "target"))

    with pytest.raises(ConfigError, match="target: not known"):
        instruments_of(load_config(file, tmp_path, environ={}), StoppedClock())
