# SPDX-License-Identifier: MIT
"""The correction of a probe thermometer from a check in melting ice and one in boiling water.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.process.quantities import Quantity
from collector.errors import ProcessError

# Crushed ice with a little water, stirred for two minutes (common practice).
ICE_POINT_U_K = 0.05
FARTHEST_OFF_K = 10.0


@dataclass(frozen=True, slots=True)
class TwoPointCorrection:
    """A straight line through the ice point and the boiling point.

    Attributes:
        ice_indication_degc: What the probe showed in melting ice [degC].
        boil_indication_degc: What it showed in boiling water [degC].
        boiling_point_degc: Where the water boiled [degC].
        u_indication_k: Standard uncertainty of each of the two indications [K].
        u_ice_point_k: Standard uncertainty of the ice point as made [K].
        u_boiling_point_k: Standard uncertainty of the boiling point [K].
    """

    ice_indication_degc: float
    boil_indication_degc: float
    boiling_point_degc: float
    u_indication_k: float
    u_ice_point_k: float
    u_boiling_point_k: float

    def apply(self, indication_degc: float) -> Quantity:
        """Return the temperature that an indication stands for.

        Args:
            indication_degc: What the probe shows [degC].

        Returns:
            Corrected temperature; u is that of the correction alone [degC].

        Source:
            Straight line through two points; propagation by JCGM 100:2008, 5.1.2.
        """
        span = self.boil_indication_degc - self.ice_indication_degc
        share = (indication_degc - self.ice_indication_degc) / span
        gain = self.boiling_point_degc / span
        at_ice = math.hypot(gain * self.u_indication_k, self.u_ice_point_k)
        at_boil = math.hypot(gain * self.u_indication_k, self.u_boiling_point_k)
        return Quantity(
            value=share * self.boiling_point_degc,
            unit="degC",
            u=math.hypot((1.0 - share) * at_ice, share * at_boil),
            method="line through ice point and boiling point",
            sources=("ice-point check", "boiling-point check"),
        )


def two_point_correction(
    ice_indication_degc: float,
    boil_indication_degc: float,
    boiling_point: Quantity,
    *,
    u_indication_k: float,
    u_ice_point_k: float = ICE_POINT_U_K,
) -> TwoPointCorrection:
    """Return the correction of a probe from its two checks.

    Args:
        ice_indication_degc: What it showed in melting ice, settled [degC].
        boil_indication_degc: What it showed in boiling water, settled [degC].
        boiling_point: Where water boils in this kitchen [degC].
        u_indication_k: Standard uncertainty of each indication: step and noise [K].
        u_ice_point_k: Standard uncertainty of the ice point as made [K].

    Returns:
        The correction, exact at both points [degC].

    Raises:
        ProcessError: An indication is more than 10 K from its point, or an uncertainty is below 0.

    Source:
        T = (R - R_ice) T_boil / (R_boil - R_ice), a line through two fixed points (definition).

    Example:
        >>> from api.process.boiling import boiling_point_at_altitude
        >>> line = two_point_correction(
        ...     0.4, 98.9, boiling_point_at_altitude(300.0), u_indication_k=0.06
        ... )
        >>> line.apply(82.0).value
        81.996
    """
    pairs = (
        ("melting ice", ice_indication_degc, 0.0),
        ("boiling water", boil_indication_degc, boiling_point.value),
    )
    for place, indication, point in pairs:
        if not abs(indication - point) <= FARTHEST_OFF_K:
            raise ProcessError(
                f"In {place} ({point:.1f} degC) the probe showed {indication:.1f} degC.",
                where="probe check",
                do="Wait until it has settled, check the unit of the indication, or replace it.",
            )
    if min(u_indication_k, u_ice_point_k) < 0:
        raise ProcessError(
            f"A standard uncertainty of {min(u_indication_k, u_ice_point_k):g} K is below 0.",
            where="probe check",
            do="Give 0 or more.",
        )
    return TwoPointCorrection(
        ice_indication_degc,
        boil_indication_degc,
        boiling_point.value,
        u_indication_k,
        u_ice_point_k,
        boiling_point.u,
    )
