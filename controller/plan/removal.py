"""Upper bounds on how fast metal can be removed: by the melting-point law and by energy.

The melting-point law, removal = K * I / Tm**1.23, describes good pulsed supplies in oil at full duty. For a
short-proof DC source in a water jet it is an upper bound, not a forecast: a technology file that promises more is
optimistic. The law is printed in four sets of units with four constants; each has a function of its own, named by its
unit, so that minutes can't pass for seconds.
"""

from __future__ import annotations

MELTING_POINT_EXPONENT = 1.23  # El-Hofy, Fundamentals of Machining Processes, p. 395, quoting Kalpakjian 1997
K_MM3_MIN = 4.0e4  # melting point in degrees C; El-Hofy, p. 395
K_MM3_S = 664.0  # degrees C; Groover, Fundamentals of Modern Manufacturing, section on EDM (memory)
K_IN3_MIN = 5.08  # degrees F; the same (memory)
K_CM3_MIN = 39.86  # degrees C; older printings (memory), unit forced by the arithmetic

# Energy to bring iron from 298 K to melt at 1809 K: 1296 kJ/kg at 7.87 g/cm3 (thermochemical tables).
IRON_MELT_J_MM3 = 10.2

# Melting points in degrees C: CRC values through the `chemicals` package, less 273.15 K. Steel: solidus of common
# stainless grades (memory), the lower end, so that the bound errs upward.
MELTING_C = {"iron": 1538.0, "steel": 1400.0, "tungsten": 3414.0, "copper": 1084.62, "zinc": 419.527}


def melting_c(material: str) -> float | None:
    """Melting point in °C of the metal that a material's name mentions ("hardened stainless steel"), if known."""
    words = material.lower().replace("-", " ").split()
    return next((celsius for metal, celsius in MELTING_C.items() if metal in words), None)


def melting_point_removal_mm3_s(current_a: float, melting_c: float) -> float:
    """Bound on removal in mm³/s at a current, melting point in °C (Groover, memory).

    Raises:
        ValueError: A melting point not above 0 or a current below 0.
    """
    return _law(K_MM3_S, current_a, melting_c)


def melting_point_removal_mm3_min(current_a: float, melting_c: float) -> float:
    """Bound on removal in mm³/min at a current, melting point in °C (El-Hofy, p. 395). Raises as the mm³/s form."""
    return _law(K_MM3_MIN, current_a, melting_c)


def melting_point_removal_cm3_min(current_a: float, melting_c: float) -> float:
    """Bound on removal in cm³/min at a current, melting point in °C (older printings). Raises as the mm³/s form."""
    return _law(K_CM3_MIN, current_a, melting_c)


def melting_point_removal_in3_min(current_a: float, melting_f: float) -> float:
    """Bound on removal in in³/min at a current, melting point in °F (Groover, memory). Raises as the mm³/s form."""
    return _law(K_IN3_MIN, current_a, melting_f)


def energy_removal_mm3_s(gap_v: float, current_a: float, melt_j_mm3: float = IRON_MELT_J_MM3) -> float:
    """Removal in mm³/s that the whole power of a discharge could melt: gap voltage times current over melting energy.

    Nothing can exceed it. In micro-EDM 10 to 15 % of the energy is reported to reach the two electrodes (Zahiruddin
    & Kunieda, abstract).
    """
    return gap_v * current_a / melt_j_mm3


def _law(k: float, current_a: float, melting: float) -> float:
    if melting <= 0 or current_a < 0:
        raise ValueError(
            f"the removal law needs a melting point above 0 and a current, not {melting} and {current_a} A"
        )
    return float(k * current_a / melting**MELTING_POINT_EXPONENT)
