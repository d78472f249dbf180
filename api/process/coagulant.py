# SPDX-License-Identifier: MIT
"""The dose of a coagulant, one salt for another, and how much gypsum water can carry.

Pure: imports only the ground and what is pure. Doses from practice are hints; none is a limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.coagulant_table import Practice, Substance, UsualRange, coagulant_table
from api.process.ingredient_names import find, words_of
from api.process.quantities import Absence, NotShown, Quantity, Result
from collector.errors import ProcessError

# Milk of 5 to 12 % solids near room temperature: 1000 kg/m3 for oily seeds to 1037 for starchy
# pulses (computed with the component equations for the ingredients of the table).
MILK_DENSITY = Quantity(
    1017.0, "kg/m3", 11.0, "usual density of milk", ("assumed: milk of 5 to 12 % solids",)
)


@dataclass(frozen=True, slots=True)
class Dose:
    """How much coagulant went in, by whatever can be told.

    Attributes:
        of_dry: By the dry ingredient [g/100 g].
        of_milk: By the milk [g/100 g].
        concentration: Salt or acid by the milk's volume [mmol/L].
        normality: Charge of the cation by the milk's volume [mol/L].
        note: What to know of it.
    """

    of_dry: Result
    of_milk: Result
    concentration: Result
    normality: Result
    note: str


def find_substance(name: str) -> Substance | None:
    """Return the coagulant that a name means, or None.

    Args:
        name: As the maker writes it; case and word order don't matter.

    Returns:
        The substance; molar mass [g/mol].

    Source:
        The packaged table.
    """
    wanted = frozenset(words_of(name))
    for substance in coagulant_table().substances.values():
        if any(frozenset(words_of(n)) == wanted for n in (substance.name, *substance.aliases)):
            return substance
    return None


def dose(
    name: str,
    coagulant: Result,
    *,
    dry: Result,
    milk: Result,
    strength: Quantity | None = None,
    density: Quantity = MILK_DENSITY,
) -> Dose:
    """Return the dose of a coagulant by dry mass, by milk, and in moles.

    Args:
        name: The coagulant.
        coagulant: Its mass [kg].
        dry: Mass of the dry ingredient [kg].
        milk: Mass of the milk [kg].
        strength: For a brine: its mass share of the salt [-].
        density: Density of the milk [kg/m3].

    Returns:
        Doses [g/100 g, mmol/L, mol/L], each with its standard uncertainty or why it isn't shown.

    Source:
        Definition; mmol/L = g/L / M; normality = charge of the cation, 2 for Ca and Mg; relative
        uncertainties in quadrature, JCGM 100:2008, 5.1.6 (from memory).
    """
    substance = find_substance(name)
    of_dry = _per_hundred(coagulant, dry, "dry ingredient")
    of_milk = _per_hundred(coagulant, milk, "milk")
    concentration = _concentration(substance, name, of_milk, strength, density)
    if isinstance(concentration, NotShown):
        normality: Result = concentration
    elif substance is None or substance.cations == 0:
        normality = NotShown("An acid brings no divalent cation.", Absence.NOT_APPLICABLE)
    else:
        per_mmol = 2.0 * substance.cations / 1000.0
        normality = _scaled(concentration, per_mmol, "mol/L", "charge of the cation")
    return Dose(of_dry, of_milk, concentration, normality, _note(substance, name))


def _per_hundred(part: Result, whole: Result, what: str) -> Result:
    if isinstance(part, NotShown):
        return part
    if isinstance(whole, NotShown):
        return whole
    if whole.value <= 0.0:
        return NotShown(f"The {what} weighs nothing.")
    value = 100.0 * part.value / whole.value
    u = 100.0 * math.hypot(part.u / whole.value, part.value * whole.u / whole.value**2)
    sources = part.sources + whole.sources
    return Quantity(value, "g/100 g", u, f"coagulant over {what}", sources)


def _concentration(
    substance: Substance | None,
    name: str,
    of_milk: Result,
    strength: Quantity | None,
    density: Quantity,
) -> Result:
    if isinstance(of_milk, NotShown):
        return of_milk
    if substance is None:
        return NotShown(f"The molar mass of {name!r} is not known here.")
    if substance.needs_strength and strength is None:
        return NotShown(f"{substance.name} is a brine: state its share of {substance.formula}.")
    share = strength if strength is not None else Quantity(1.0, "-", 0.0, "pure")
    if not 0.0 < share.value <= 1.0:
        return NotShown(f"A share of {share.value:g} is not between 0 and 1.")
    grams_per_l = of_milk.value / 100.0 * density.value * share.value
    value = 1000.0 * grams_per_l / substance.molar_mass_g_per_mol
    parts = [(q.u / q.value if q.value else 0.0) for q in (of_milk, density, share)]
    u = abs(value) * math.sqrt(sum(p * p for p in parts))
    sources = of_milk.sources + density.sources + share.sources
    return Quantity(value, "mmol/L", u, f"mass over molar mass of {substance.formula}", sources)


def _scaled(quantity: Quantity, by: float, unit: str, method: str) -> Quantity:
    return Quantity(quantity.value * by, unit, quantity.u * abs(by), method, quantity.sources)


def _note(substance: Substance | None, name: str) -> str:
    if substance is None:
        return f"{name} is not in the table of coagulants; food grade only."
    text = "Food grade only, with its lot."
    if substance.name == "gypsum":
        text += " Gypsum hardly dissolves: stir it up again right before the pour."
    if substance.additive is not None:
        text += f" {substance.additive.text} ({substance.additive.status})."
    return text


def equivalent(mass: Quantity, name: str, other: str) -> Result:
    """Return how much of another salt brings as much divalent cation.

    m' = m (M'/n') / (M/n); one cation is taken for the other, though they don't set alike.

    Args:
        mass: Mass of the first salt [any unit of mass].
        name: The first salt.
        other: The other salt.

    Returns:
        Mass of the other [the same unit], or why there is none.

    Source:
        Definition; molar masses from standard atomic weights (computed).

    Example:
        >>> four = Quantity(4.0, "g", 0.0, "given")
        >>> round(equivalent(four, "gypsum", "magnesium chloride hexahydrate").value, 2)
        4.72
    """
    substances = []
    for each in (name, other):
        substance = find_substance(each)
        if substance is None:
            return NotShown(f"{each!r} is not in the table of coagulants.")
        if substance.cations == 0:
            return NotShown(
                f"{substance.name} sets by acid, not by a cation.", Absence.NOT_APPLICABLE
            )
        if substance.needs_strength:
            return NotShown(f"{substance.name} is a brine: reckon with its share of salt.")
        substances.append(substance)
    one, two = (s.molar_mass_g_per_mol / s.cations for s in substances)
    method = f"same moles of {substances[1].cation} as of {substances[0].cation}"
    return _scaled(mass, two / one, mass.unit, method)


def gypsum_solubility(temperature_degc: float) -> Quantity:
    """Return how much gypsum a kilogram of pure water can dissolve.

    Args:
        temperature_degc: Temperature of the water, 0 to 90 [degC].

    Returns:
        CaSO4.2H2O [g/kg of water].

    Raises:
        ProcessError: The temperature lies outside 0 to 90 degC.

    Source:
        PHREEQC with phreeqc.dat (computed), u 5 %; 2.4 g/L near 20 degC is the usual handbook
        figure (from memory).
    """
    table = coagulant_table()
    low, high = table.solubility_degc[0], table.solubility_degc[-1]
    if not low <= temperature_degc <= high:
        raise ProcessError(
            f"The solubility of gypsum at {temperature_degc:g} degC is not known here.",
            where="coagulant",
            do=f"Give a temperature between {low:g} and {high:g} degC.",
        )
    mmol = float(np.interp(temperature_degc, table.solubility_degc, table.solubility_mmol_per_kg))
    value = mmol * table.substances["gypsum"].molar_mass_g_per_mol / 1000.0
    u = table.solubility_u_fraction * value
    return Quantity(value, "g/kg", u, "interpolated", (table.solubility.source,))


def gypsum_carried_as_solid(gypsum_kg: float, water_kg: float, temperature_degc: float) -> float:
    """Return the share of gypsum that stays solid in its water, and settles unless stirred.

    Args:
        gypsum_kg: Gypsum [kg].
        water_kg: Water it is stirred into [kg].
        temperature_degc: Temperature of the water, 0 to 90 [degC].

    Returns:
        Solid over all [-].

    Raises:
        ProcessError: There is no gypsum, less than no water, or the temperature lies outside
            0 to 90 degC.

    Source:
        Solubility as in `gypsum_solubility`.

    Example:
        >>> round(gypsum_carried_as_solid(0.012, 0.240, 21.0), 2)
        0.95
    """
    if not (gypsum_kg > 0.0 and water_kg >= 0.0):
        raise ProcessError(
            f"{gypsum_kg:g} kg of gypsum in {water_kg:g} kg of water.",
            where="coagulant",
            do="Give more than 0 kg of gypsum and at least 0 kg of water.",
        )
    dissolved_kg = gypsum_solubility(temperature_degc).value / 1000.0 * water_kg
    return max(1.0 - dissolved_kg / gypsum_kg, 0.0)


def hints(name: str, ingredient: str = "soybean") -> tuple[UsualRange | Practice, ...]:
    """Return what practice and publications do with a coagulant; hints, no limits.

    Args:
        name: The coagulant.
        ingredient: What the milk is made of; soy's range is shown for soy alone.

    Returns:
        Range and practices with their sources; doses [g/100 g, mmol/L], temperatures [degC].

    Source:
        The packaged table; each names its own.
    """
    substance = find_substance(name)
    known = find(ingredient)
    material = known.name if known is not None else ingredient
    if substance is None:
        return ()
    table = coagulant_table()
    found: list[UsualRange | Practice] = []
    if material == "soybean" and substance.name in table.ranges:
        found.append(table.ranges[substance.name])
    found += [
        p for p in table.practices if p.substance == substance.name and p.material == material
    ]
    return tuple(found)
