# SPDX-License-Identifier: MIT
"""The balance of a batch against figures worked by hand, identities, and Monte Carlo."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from uncertainties import ufloat

from api.process.assumed_flows import NO_RESIDUE
from api.process.balance import Balance, mass_balance
from api.process.quantities import NotShown, Quantity
from api.process.streams import Process, Step, process_without_recipe
from api.process.suspects import BalanceTest
from api.process.weighings import Combining, Weighing, combine_weighings

# Strain, then set and press: mash, milk, pulp, coagulant slurry, curd, whey. Masses and standard
# uncertainties [kg] invented; the results beside the numbers computed with plain matrices.
WORKED = {
    "mash": (4.510, 0.005),
    "milk": (3.560, 0.010),
    "pulp": (0.940, 0.010),
    "coagulant_water": (0.255, 0.001),
    "curd": (1.010, 0.002),
    "whey": (2.795, 0.020),
}
PLAIN = Process(
    (Step.STRAIN, Step.HEAT, Step.SET),
    excluded=frozenset({"coagulant", "evaporation"}),
)


def worked_balance(**changed_kg: float) -> Balance:
    weighings = [
        Weighing(stream, stream, changed_kg.get(stream, mass), u)
        for stream, (mass, u) in WORKED.items()
    ]
    without = {"strain": NO_RESIDUE, "heat and set": NO_RESIDUE}
    return mass_balance(PLAIN, weighings, residues=without)


def reconciled(balance: Balance) -> dict[str, Quantity]:
    return {s.stream: s.reconciled for s in balance.streams if isinstance(s.reconciled, Quantity)}


def test_strain_and_set_balance_as_worked_by_hand() -> None:
    balance = worked_balance()

    assert isinstance(balance.test, BalanceTest)
    assert balance.test.degrees == 2
    assert balance.test.statistic == pytest.approx(0.897, abs=0.0005)  # computed
    assert balance.test.passed
    assert balance.test.suspects == ()
    expected_g = {  # computed
        "mash": 4508.54, "milk": 3562.70, "pulp": 945.84,
        "coagulant_water": 254.97, "curd": 1010.13, "whey": 2807.55,
    }  # fmt: skip
    for stream, mass_g in expected_g.items():
        assert 1000 * reconciled(balance)[stream].value == pytest.approx(mass_g, abs=0.005)
    # Inputs 4510 + 255 g, outputs 940 + 1010 + 2795 g: by hand.
    assert isinstance(balance.unaccounted, Quantity)
    assert balance.unaccounted.value == pytest.approx(0.020, abs=1e-12)
    assert balance.unaccounted.u == pytest.approx(math.sqrt(25 + 1 + 100 + 4 + 400) / 1000)
    assert isinstance(balance.closure, Quantity)
    assert balance.closure.value == pytest.approx(4745 / 4765)


def test_pulp_misread_by_100_g_puts_mash_and_pulp_under_suspicion_together() -> None:
    # Statistic 61.3 and largest z 7.82, shared by mash and pulp: computed.
    balance = worked_balance(pulp=0.840)

    assert isinstance(balance.test, BalanceTest)
    assert not balance.test.passed
    assert balance.test.statistic == pytest.approx(61.3, abs=0.05)
    assert [set(s.streams) for s in balance.test.suspects] == [{"mash", "pulp"}]
    assert balance.test.suspects[0].z == pytest.approx(7.82, abs=0.005)
    largest = max(m.z for m in balance.test.measurements)
    shared = {m.stream for m in balance.test.measurements if m.z == pytest.approx(largest)}
    assert shared == {"mash", "pulp"}


def test_with_usual_residues_and_unmeasured_evaporation_the_same_set_is_named() -> None:
    """A weaker balance, the same answer; the size of the error is found within its spread."""
    weighings = [
        Weighing(stream, stream, mass - 0.1 * (stream == "pulp"), u)
        for stream, (mass, u) in WORKED.items()
    ]
    weighings.append(Weighing("salt", "coagulant", 0.012))

    balance = mass_balance(process_without_recipe(WORKED, ["addition"]), weighings)

    assert isinstance(balance.test, BalanceTest)
    assert [set(s.streams) for s in balance.test.suspects] == [{"mash", "pulp"}]
    suspect = balance.test.suspects[0]
    errors = dict(zip(suspect.streams, suspect.errors_kg, strict=True))
    assert errors["pulp"] == pytest.approx(-0.1, abs=0.03)
    assert errors["mash"] == pytest.approx(+0.1, abs=0.03)


def test_closure_carries_the_uncertainty_that_a_second_library_gives() -> None:
    by_library = {name: ufloat(mass, u) for name, (mass, u) in WORKED.items()}  # uncertainties
    out = by_library["pulp"] + by_library["curd"] + by_library["whey"]
    closure = out / (by_library["mash"] + by_library["coagulant_water"])

    balance = worked_balance()

    assert isinstance(balance.closure, Quantity)
    assert balance.closure.value == pytest.approx(closure.nominal_value, rel=1e-12)
    assert balance.closure.u == pytest.approx(closure.std_dev, rel=1e-9)


def test_a_tare_that_two_weighings_share_drops_out_of_their_difference() -> None:
    """(27.400 - T) - (26.400 - T) is 1.000 with u 0.010 sqrt 2 whatever u(T) is: exact."""
    weighings = [
        Weighing("full", "mash", 27.4, 0.010, tare="pot", u_tare_kg=0.010),
        Weighing("strained", "milk", 26.4, 0.010, tare="pot", u_tare_kg=0.010),
    ]

    balance = mass_balance(Process((Step.STRAIN,)), weighings, residues={"strain": NO_RESIDUE})

    pulp = reconciled(balance)["pulp"]
    assert pulp.value == pytest.approx(1.0, abs=1e-12)
    assert pulp.u == pytest.approx(0.010 * math.sqrt(2), rel=1e-12)
    as_if_independent = [dataclasses.replace(w, tare=None) for w in weighings]
    balance = mass_balance(
        Process((Step.STRAIN,)), as_if_independent, residues={"strain": NO_RESIDUE}
    )
    assert reconciled(balance)["pulp"].u == pytest.approx(0.020, rel=1e-12)


def test_mass_by_difference_is_that_of_the_worked_budget() -> None:
    # 10.000 (20 g steps) + 70.000 - 65.000 kg (100 g steps) = 15.000 kg, u 0.041 kg: computed
    # from step / sqrt 12, JCGM 100:2008 F.2.2.1 (from memory).
    weighings = [
        Weighing("b", "soaked", 10.0, 0.020 / math.sqrt(12)),
        Weighing("w", "water", 70.0, 0.100 / math.sqrt(12)),
        Weighing("m", "milk", 65.0, 0.100 / math.sqrt(12)),
    ]
    without = {"grind": NO_RESIDUE, "strain": NO_RESIDUE}

    balance = mass_balance(Process((Step.GRIND, Step.STRAIN)), weighings, residues=without)

    pulp = reconciled(balance)["pulp"]
    assert pulp.value == pytest.approx(15.0, abs=1e-9)
    assert pulp.u == pytest.approx(0.041, abs=0.0005)
    assert isinstance(balance.test, NotShown)
    assert "No redundant weighing" in balance.test.why


def test_parts_and_repeats_have_the_covariance_of_a_monte_carlo_run() -> None:
    """Milk in two pots on one tare, the second weighed twice, once on another tare."""
    weighings = [
        Weighing("a", "milk", 1.5, 0.004, tare="pot", u_tare_kg=0.006),
        Weighing("b", "milk", 1.5, 0.004, tare="pot", u_tare_kg=0.006),
        Weighing("c", "milk", 1.5, 0.004, "tub", 0.003, Combining.AGAIN),
    ]
    rng = np.random.default_rng(3)
    own = rng.normal(0.0, 0.004, size=(200_000, 3))
    pot, tub = (rng.normal(0.0, u, size=200_000) for u in (0.006, 0.003))
    # Weights of b and c by hand: inverse variances 0.004^2 + 0.006^2 and 0.004^2 + 0.003^2.
    share = (1 / 52) / (1 / 52 + 1 / 25)
    drawn = own[:, 0] - pot + share * (own[:, 1] - pot) + (1 - share) * (own[:, 2] - tub)

    milk = combine_weighings(weighings)

    assert milk.mass_kg[0] == pytest.approx(3.0)
    assert math.sqrt(milk.covariance_kg2[0, 0]) == pytest.approx(drawn.std(), rel=0.01)


def test_the_uncertainties_of_a_batch_are_those_of_a_monte_carlo_run() -> None:
    """Whole batches are drawn: weighing errors, evaporation and residues as assumed.

    The press whey is not weighed, so that one computed stream is among those compared. 2,000
    draws settle a standard deviation within 1.6 %, so that 7 % is beyond four times that.
    """
    rng = np.random.default_rng(11)
    streams = ("mash", "pulp", "milk", "coagulant", "curd", "whey", "block")
    process = Process(excluded=frozenset({"coagulant_water"}))
    found: dict[str, list[float]] = {}
    for _ in range(2000):
        true = {"mash": 4.5, "pulp": 0.95, "coagulant": 0.25, "curd": 1.1, "block": 0.9}
        stays = {name: 0.001 * m + rng.normal(0.0, 0.002 * m)
                 for name, m in (("strain", 4.5), ("set", 3.8), ("press", 1.1))}  # fmt: skip
        true["milk"] = 4.5 - 0.95 - stays["strain"]
        evaporated = rng.normal(0.0, 0.0355)
        true["whey"] = true["milk"] + 0.25 - 1.1 - evaporated - stays["set"]
        drawn = [Weighing(s, s, true[s] + rng.normal(0.0, 0.01), 0.01) for s in streams]
        balance = mass_balance(process, drawn)
        true["press_whey"] = 1.1 - 0.9 - stays["press"]
        for name in true:
            error = (reconciled(balance)[name].value - true[name]) / reconciled(balance)[name].u
            found.setdefault(name, []).append(error)

    for name, errors in found.items():
        assert np.std(errors) == pytest.approx(1.0, abs=0.07), name
        assert np.mean(errors) == pytest.approx(0.0, abs=0.1), name
