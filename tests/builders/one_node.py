"""One-node energy balance: the bound that holds only for a well-stirred drum."""

import math


def time_constant(*, heat_capacity_j_k: float, conductance_w_k: float) -> float:
    """Time constant C / (U A) in seconds."""
    return heat_capacity_j_k / conductance_w_k


def temperature_after(
    *, start_c: float, air_c: float, seconds: float, time_constant_s: float
) -> float:
    """Temperature (°C) after a time in air of one temperature: exact exponential."""
    return air_c + (start_c - air_c) * math.exp(-seconds / time_constant_s)


def time_to_reach(
    *, start_c: float, air_c: float, target_c: float, time_constant_s: float
) -> float | None:
    """Seconds until the target is reached, or None if it never is."""
    if start_c == target_c:
        return 0.0
    left = (target_c - air_c) / (start_c - air_c) if start_c != air_c else -1.0
    if not 0.0 < left < 1.0:
        return None
    return -time_constant_s * math.log(left)
