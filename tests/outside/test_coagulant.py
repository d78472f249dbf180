# SPDX-License-Identifier: MIT
"""Molar masses, doses and solubility against atomic weights, papers and handbooks."""

from __future__ import annotations

import re

import pytest

from api.process.coagulant import (
    dose,
    equivalent,
    gypsum_carried_as_solid,
    gypsum_solubility,
)
from api.process.coagulant_table import coagulant_table
from api.process.quantities import NotShown, Quantity

# Conventional atomic weights, IUPAC 2021 (from memory) [g/mol].
ATOMIC_WEIGHT = {
    "H": 1.008, "C": 12.011, "O": 15.999, "Mg": 24.305, "S": 32.06, "Cl": 35.45, "Ca": 40.078,
}  # fmt: skip


def mass_of(formula: str) -> float:
    """Add up a formula such as CaSO4.0.5H2O, its waters after the first point."""
    head, _, tail = formula.partition(".")
    count = re.match(r"[\d.]+", tail)
    parts = [(1.0, head)]
    if tail:
        number = float(count.group()) if count else 1.0
        parts.append((number, tail[count.end() :] if count else tail))
    return sum(
        times * ATOMIC_WEIGHT[symbol] * int(n or 1)
        for times, part in parts
        for symbol, n in re.findall(r"([A-Z][a-z]?)(\d*)", part)
    )


@pytest.mark.parametrize("name", list(coagulant_table().substances))
def test_molar_masses_are_the_sum_of_atomic_weights(name: str) -> None:
    substance = coagulant_table().substances[name]

    assert substance.molar_mass_g_per_mol == pytest.approx(mass_of(substance.formula), abs=0.02)


@pytest.mark.parametrize(
    ("other", "grams"),
    # For the cation of 4.00 g of gypsum: computed with another library, two decimals.
    [
        ("calcium sulphate, anhydrous", 3.16), ("calcium sulphate hemihydrate", 3.37),
        ("magnesium chloride, anhydrous", 2.21), ("magnesium chloride hexahydrate", 4.72),
        ("magnesium sulphate heptahydrate", 5.73), ("calcium chloride, anhydrous", 2.58),
        ("calcium chloride dihydrate", 3.42), ("gypsum", 4.00),
    ],
)  # fmt: skip
def test_one_salt_for_another_by_the_cation(other: str, grams: float) -> None:
    found = equivalent(Quantity(4.0, "g", 0.0, "given"), "gypsum", other)

    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(grams, abs=0.005)


@pytest.mark.parametrize(
    ("name", "grams_per_litre", "mmol_per_litre"),
    [
        # Kao, Su and Lee 2003: gypsum 0.4 % = 23.2 mmol of calcium per litre; seen (abstract).
        ("gypsum", 4.0, 23.2),
        # J. Food Sci. 1999: 0.0450 N, 22.5 mmol/L, is 3.87 g/L of gypsum; seen (abstract).
        ("gypsum", 3.87, 22.5),
        # Nippon Shokuhin Kogyo Gakkaishi 39(6), 1992: CaCl2 about 10 mmol/L is 1.11 g/L; seen.
        ("calcium chloride, anhydrous", 1.11, 10.0),
    ],
)
def test_doses_of_papers_in_moles(name: str, grams_per_litre: float, mmol_per_litre: float) -> None:
    found = dose(
        name,
        Quantity(grams_per_litre / 1000, "kg", 0.0, "given"),
        dry=NotShown("not weighed"),
        milk=Quantity(1.0, "kg", 0.0, "given"),
        density=Quantity(1000.0, "kg/m3", 0.0, "by volume"),
    )

    assert isinstance(found.concentration, Quantity)
    assert found.concentration.value == pytest.approx(mmol_per_litre, abs=0.05)
    assert isinstance(found.normality, Quantity)
    assert found.normality.value == pytest.approx(2 * mmol_per_litre / 1000, abs=1e-4)


def test_gypsum_dissolves_as_handbooks_say() -> None:
    # 2.4 g/L near 20 to 25 degC: usual handbook figure, from memory, within its one digit.
    assert gypsum_solubility(20.0).value == pytest.approx(2.4, abs=0.2)
    # 0.21 g per 100 mL as CaSO4 at 25 degC: an encyclopaedia, low authority, seen.
    as_caso4 = gypsum_solubility(25.0).value * 136.14 / 172.17
    assert as_caso4 == pytest.approx(2.1, abs=0.06)
    # Weak maximum near 40 degC: handbooks, from memory.
    values = [gypsum_solubility(t).value for t in (0, 20, 40, 60, 80)]
    assert max(values) == values[2]


def test_twelve_grams_in_a_cup_of_water_are_carried_as_solid() -> None:
    # 12 g in 0.24 kg at 21 degC: 0.61 g dissolves, 5 %; computed.
    assert 12.0 * (1 - gypsum_carried_as_solid(0.012, 0.240, 21.0)) == pytest.approx(0.61, abs=0.01)
