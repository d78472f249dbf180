# SPDX-License-Identifier: MIT
"""The simulated block and its press against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import expm

from collector.instruments.simulated.block import (
    CURD_HEAT_J_KG_K,
    WATER_HEAT_J_KG_K,
    Block,
    Drain,
    Medium,
)

FRIDGE = Medium("fridge", 3.0, 9.0)


def test_core_and_shell_cool_as_two_exponentials() -> None:
    block = Block(1.0, 60.0, 55.0, FRIDGE, 21.0)
    inner, outer = block.conductances_w_k
    half_j_k = CURD_HEAT_J_KG_K / 2.0
    matrix = np.array([[-inner, inner], [inner, -inner - outer]]) / half_j_k

    for minutes in (5.0, 30.0, 240.0):
        block.step(60.0 * minutes)
        at_s = 60.0 * {5.0: 5.0, 30.0: 35.0, 240.0: 275.0}[minutes]
        expected = 3.0 + expm(matrix * at_s) @ np.array([57.0, 52.0])

        assert [block.core_degc, block.shell_degc] == pytest.approx(list(expected), abs=1e-4)


def test_a_bath_takes_up_what_the_block_gives() -> None:
    block = Block(1.0, 60.0, 60.0, Medium("water", 12.0, 200.0, water_kg=6.0), 21.0)
    block.bath_loss_w_k = 0.0
    block.step(12 * 3600.0)

    # (1 * 3800 * 60 + 6 * 4190 * 12) / (1 * 3800 + 6 * 4190) (exact)
    even = (CURD_HEAT_J_KG_K * 60 + 6 * WATER_HEAT_J_KG_K * 12) / (
        CURD_HEAT_J_KG_K + 6 * WATER_HEAT_J_KG_K
    )
    assert [block.core_degc, block.shell_degc, block.bath_degc] == pytest.approx([even] * 3)


def test_water_chills_the_core_faster_than_air_and_a_small_block_faster_than_a_large_one() -> None:
    def core_degc(mass_kg: float, medium: Medium) -> float:
        block = Block(mass_kg, 60.0, 60.0, medium, 21.0)
        block.step(1800.0)
        return block.core_degc

    water = Medium("water", 3.0, 200.0)

    assert core_degc(1.0, water) < core_degc(1.0, FRIDGE) - 10.0
    assert core_degc(0.4, water) < core_degc(2.0, water) - 5.0


def test_more_curd_laid_on_mixes_its_heat_in() -> None:
    block = Block(1.0, 50.0, 40.0, FRIDGE, 21.0)
    block.add(3.0, 70.0)

    assert block.mass_kg == 4.0
    assert block.mean_degc == pytest.approx((45.0 + 3.0 * 70.0) / 4.0)


def test_a_fridge_swings_about_its_setting() -> None:
    block = Block(1.0, 5.0, 5.0, Medium("fridge", 3.0, 9.0, swing_k=0.7), 21.0)
    seen = []
    for _ in range(1200):
        block.step(1.0)
        seen.append(block.bath_degc)

    assert max(seen) == pytest.approx(3.7, abs=0.01)
    assert float(np.mean(seen)) == pytest.approx(3.0, abs=0.01)


def test_press_whey_runs_off_fast_first_and_never_more_than_there_is() -> None:
    drain = Drain(1.2, fast_fraction=0.6, fast_s=60.0, slow_s=900.0)

    assert drain.run_off_kg(0.0) == 0.0
    # 1.2 * (1 - 0.6 * exp(-1) - 0.4 * exp(-60/900)) (exact)
    expected_kg = 1.2 * (1.0 - 0.6 * math.exp(-1.0) - 0.4 * math.exp(-1.0 / 15.0))
    assert drain.run_off_kg(60.0) == pytest.approx(expected_kg, rel=1e-12)
    assert drain.run_off_kg(1e6) == pytest.approx(1.2)
