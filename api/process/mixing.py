# SPDX-License-Identifier: MIT
"""The temperature of a mixture from the heat that its parts bring, and the way back.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from api.process.composition import Composition
from api.process.quantities import Quantity
from api.process.thermal import enthalpy_difference, specific_heat, specific_heat_with_u
from collector.errors import ProcessError

# Common values of handbooks (from memory).
STAINLESS_STEEL = Quantity(500.0, "J/(kg K)", 20.0, "usual value", ("stainless steel",))
ALUMINIUM = Quantity(900.0, "J/(kg K)", 20.0, "usual value", ("aluminium",))
# Gypsum 1.1, magnesium chloride hexahydrate 1.6, calcium chloride 0.7 kJ/(kg K) (from memory);
# a few grams of it, so a third of doubt moves no mixture.
COAGULANT = Quantity(1100.0, "J/(kg K)", 350.0, "usual value", ("coagulant salts",))


@dataclass(frozen=True, slots=True)
class Part:
    """Something that goes into a mixture.

    Parts that are given the very same `temperature` or `specific_heat` object share its error;
    the pot's wall, for one, shares that of the milk.

    Attributes:
        name: What it is, for messages.
        mass: How much [kg].
        temperature: Before mixing [degC].
        specific_heat: Constant specific heat [J/(kg K)].
        composition: What it is made of; if given, its temperature-dependent heat capacity is
            used in place of the constant one, whose u it keeps.
    """

    name: str
    mass: Quantity
    temperature: Quantity
    specific_heat: Quantity
    composition: Composition | None = None

    def __post_init__(self) -> None:
        wanted = (("kg", self.mass), ("degC", self.temperature), ("J/(kg K)", self.specific_heat))
        for unit, given in wanted:
            if given.unit != unit:
                raise ProcessError(
                    f"{given.value:g} {given.unit} was given where {unit} belongs.",
                    where=self.name,
                    do=f"Convert it to {unit}.",
                )
            if not math.isfinite(given.value):
                raise ProcessError(
                    f"{given.value} {given.unit} is not a number to mix with.",
                    where=self.name,
                    do="Give a finite value.",
                )
        if self.mass.value < 0 or self.specific_heat.value <= 0:
            raise ProcessError(
                f"A mass of {self.mass.value:g} kg with {self.specific_heat.value:g} J/(kg K).",
                where=self.name,
                do="Give a mass of at least 0 and a specific heat above 0.",
            )

    def heat_between(self, from_degc: float, to_degc: float) -> float:
        """Return the heat that takes it from one temperature to another [J].

        Args:
            from_degc: Start [degC].
            to_degc: End [degC].

        Returns:
            Heat taken up, below 0 when it cools [J].

        Raises:
            ProcessError: A temperature lies outside -40 … 150 degC.

        Source:
            Choi and Okos 1986 by composition, else mass times specific heat times difference.
        """
        if self.composition is not None:
            return self.mass.value * enthalpy_difference(self.composition, from_degc, to_degc)
        return self.mass.value * self.specific_heat.value * (to_degc - from_degc)

    def heat_capacity(self, temperature_degc: float) -> float:
        """Return mass times specific heat [J/K].

        Args:
            temperature_degc: Temperature [degC].

        Returns:
            Heat capacity [J/K].

        Raises:
            ProcessError: The temperature lies outside -40 … 150 degC.

        Source:
            Definition; Choi and Okos 1986 where a composition is known.
        """
        if self.composition is not None:
            return self.mass.value * specific_heat(self.composition, temperature_degc)
        return self.mass.value * self.specific_heat.value


def part_of(name: str, mass: Quantity, temperature: Quantity, composition: Composition) -> Part:
    """Return a part whose heat capacity follows from what it is made of.

    Args:
        name: What it is.
        mass: How much [kg].
        temperature: Before mixing [degC].
        composition: What it is made of [-].

    Returns:
        The part, with the u of the component equations [J/(kg K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986.
    """
    heat = specific_heat_with_u(composition, temperature.value)
    return Part(name, mass, temperature, heat, composition)


def mixture(parts: Sequence[Part]) -> Quantity:
    """Return the temperature at which parts meet when no heat comes or goes.

    Args:
        parts: What goes together [kg, degC, J/(kg K)]; at least one with some mass.

    Returns:
        Temperature of the mixture, with u from every mass, temperature and heat capacity [degC].

    Raises:
        ProcessError: Nothing has any mass, or a temperature lies outside -40 … 150 degC.

    Source:
        Energy balance, sum of m_i times the enthalpy difference of each part = 0 (definition);
        propagation by JCGM 100:2008, 5.1 and 5.2. Heats of solution and hydration are not in it.

    Example:
        >>> from api.process.quantities import Quantity
        >>> def part(kg, degc, heat):
        ...     return Part("", Quantity(kg, "kg", 0, ""), Quantity(degc, "degC", 0, ""),
        ...                 Quantity(heat, "J/(kg K)", 0, ""))
        >>> mixture([part(2.0, 85.0, 3920.0), part(0.25, 20.0, 4180.0)]).value
        77.36
    """
    if not any(part.mass.value > 0 for part in parts):
        raise ProcessError(
            "Nothing with a mass was given to mix.", where="mixture", do="Give at least one part."
        )
    total = sum(part.heat_capacity(part.temperature.value) for part in parts)
    value = (
        sum(part.heat_capacity(part.temperature.value) * part.temperature.value for part in parts)
        / total
    )
    for _ in range(4):
        excess = sum(part.heat_between(part.temperature.value, value) for part in parts)
        value -= excess / sum(part.heat_capacity(value) for part in parts)
    capacity = sum(part.heat_capacity(value) for part in parts)
    return Quantity(
        value=value,
        unit="degC",
        u=_u_of_balance(parts, value) / capacity,
        method="energy balance",
        sources=_sources(parts),
    )


def slurry_mass_for(target_degc: float, slurry: Part, hot: Sequence[Part]) -> Quantity:
    """Return how much slurry brings the milk to a wanted mixture.

    Args:
        target_degc: Wanted temperature of the mixture [degC].
        slurry: The slurry; its mass is what is asked for and is not used [degC, J/(kg K)].
        hot: The milk, and the pot's wall if it counts [kg, degC, J/(kg K)].

    Returns:
        Mass of slurry, with u from all else [kg].

    Raises:
        ProcessError: The target doesn't lie between slurry and milk.

    Source:
        Energy balance (definition); propagation by JCGM 100:2008, 5.1 and 5.2.
    """
    one = replace(slurry, mass=Quantity(1.0, "kg", 0.0, "unit mass"))
    given = sum(part.heat_between(target_degc, part.temperature.value) for part in hot)
    taken = one.heat_between(one.temperature.value, target_degc)
    if taken == 0 or given / taken < 0:
        raise _out_of_reach(target_degc, slurry, hot)
    mass = given / taken
    filled = replace(slurry, mass=Quantity(mass, "kg", 0.0, "computed"))
    u = _u_of_balance([filled, *hot], target_degc) / abs(taken)
    return Quantity(mass, "kg", u, "energy balance, solved for the slurry", _sources(hot))


def milk_temperature_for(target_degc: float, slurry: Part, hot: Sequence[Part]) -> Quantity:
    """Return how hot the milk must be for a wanted mixture with a given slurry.

    Args:
        target_degc: Wanted temperature of the mixture [degC].
        slurry: The slurry [kg, degC, J/(kg K)].
        hot: The milk, and the pot's wall if it counts; their temperature is what is asked for
            and is not used [kg, J/(kg K)].

    Returns:
        Temperature of the milk at the start of the pour, with u from all else [degC].

    Raises:
        ProcessError: The milk has no mass, or would have to be hotter than 150 degC.

    Source:
        Energy balance (definition); propagation by JCGM 100:2008, 5.1.
    """
    capacity = sum(part.heat_capacity(target_degc) for part in hot)
    if capacity <= 0:
        raise ProcessError("The milk has no mass.", where="pour", do="Give the mass of the milk.")
    taken = slurry.heat_between(slurry.temperature.value, target_degc)
    value = target_degc + taken / capacity
    for _ in range(4):
        given = sum(part.heat_between(target_degc, value) for part in hot)
        value += (taken - given) / sum(part.heat_capacity(value) for part in hot)
    milk = Quantity(value, "degC", 0.0, "computed")
    filled = [replace(part, temperature=milk) for part in hot]
    u = _u_of_balance([slurry, *filled], target_degc)
    u /= sum(part.heat_capacity(value) for part in hot)
    return Quantity(
        value, "degC", u, "energy balance, solved for the milk", _sources([slurry, *hot])
    )


def _u_of_balance(parts: Sequence[Part], mixed_degc: float) -> float:
    """Return the standard uncertainty of the heat that the parts bring together [J]."""
    shared: dict[tuple[str, int], float] = {}
    squared = 0.0
    for part in parts:
        brought = part.heat_between(mixed_degc, part.temperature.value)
        if part.mass.value > 0:
            squared += (brought / part.mass.value * part.mass.u) ** 2
        key = ("temperature", id(part.temperature))
        capacity = part.heat_capacity(part.temperature.value)
        shared[key] = shared.get(key, 0.0) + capacity * part.temperature.u
        key = ("specific heat", id(part.specific_heat))
        relative = part.specific_heat.u / part.specific_heat.value
        shared[key] = shared.get(key, 0.0) + brought * relative
    return math.sqrt(squared + math.fsum(share * share for share in shared.values()))


def _sources(parts: Sequence[Part]) -> tuple[str, ...]:
    seen: dict[str, None] = {}
    for part in parts:
        for given in (part.mass, part.temperature, part.specific_heat):
            seen.update(dict.fromkeys(given.sources))
    return tuple(seen)


def _out_of_reach(target_degc: float, slurry: Part, hot: Sequence[Part]) -> ProcessError:
    milk = hot[0].temperature.value if hot else math.nan
    return ProcessError(
        f"A mixture of {target_degc:.1f} degC doesn't lie between the slurry "
        f"({slurry.temperature.value:.1f} degC) and the milk ({milk:.1f} degC).",
        where="pour",
        do="Change the target, or heat or cool the milk.",
    )
