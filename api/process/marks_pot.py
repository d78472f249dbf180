# SPDX-License-Identifier: MIT
"""What happens in the pot: heat, boil, simmer, target, additions, ladle, in the order they can.

Pure: imports only what is pure.
"""

from __future__ import annotations

from api.process.marks_heat import heat
from api.process.marks_ladle import ladle
from api.process.marks_look import Look
from api.process.marks_plateau import plateau
from api.process.marks_pour import addition
from api.process.marks_scale import MassLook
from api.process.marks_settings import MarkSettings, Proposal
from api.process.marks_state import PotState, trusted
from api.process.marks_target import target


def step_pot(
    state: PotState, milk: Look | None, mass: MassLook | None, settings: MarkSettings
) -> tuple[PotState, list[Proposal]]:
    """Return what is known one look later, and what is proposed.

    Args:
        state: What was known.
        milk: The last minutes of the probe in the milk, None if it is silent.
        mass: The last minutes of the scale under the pot, None if there is none.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposals.

    Source:
        What can follow what is common practice.
    """
    found: list[Proposal | None] = []
    if milk is not None:
        state = trusted(state, milk)
    if milk is not None and not state.out:
        for look_for in (heat, plateau, target):
            state, said = look_for(state, milk, settings)
            found.append(said)
        state, said = addition(state, milk, mass, settings)
        found.append(said)
    if mass is not None:
        state, said = ladle(state, mass)
        found.append(said)
    return state, [one for one in found if one is not None]
