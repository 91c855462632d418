"""The melting-point removal law in its four unit forms, and its published examples."""

from __future__ import annotations

import pytest

from controller.plan.removal import (
    MELTING_C,
    melting_c,
    melting_point_removal_cm3_min,
    melting_point_removal_in3_min,
    melting_point_removal_mm3_min,
    melting_point_removal_mm3_s,
)

MM3_PER_IN3 = 25.4**3  # the inch is 25.4 mm exactly
S_PER_MIN = 60.0
S_PER_H = 3600.0


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32.0


@pytest.mark.parametrize("celsius", [232.0, 419.5, 1100.0, 1538.0, 3410.0])
@pytest.mark.parametrize("current_a", [0.5, 10.0, 25.0])
def test_the_metric_forms_agree_within_one_per_cent(current_a: float, celsius: float) -> None:
    """K 4e4 (El-Hofy p. 395), 664 (Groover, memory) and 39.86 (older printings, memory) are one law in three units."""
    mm3_s = melting_point_removal_mm3_s(current_a, celsius)
    assert melting_point_removal_mm3_min(current_a, celsius) == pytest.approx(mm3_s * S_PER_MIN, rel=0.01)
    assert melting_point_removal_cm3_min(current_a, celsius) * 1000.0 == pytest.approx(mm3_s * S_PER_MIN, rel=0.01)


@pytest.mark.parametrize("celsius", [1100.0, 1538.0, 3410.0])
def test_the_imperial_form_agrees_within_one_per_cent(celsius: float) -> None:
    """K 5.08 in in³/min and degrees F (Groover, memory) is the same law for the metals that are eroded."""
    imperial = melting_point_removal_in3_min(25.0, fahrenheit(celsius)) * MM3_PER_IN3 / S_PER_MIN
    assert imperial == pytest.approx(melting_point_removal_mm3_s(25.0, celsius), rel=0.01)


def test_groover_example_at_25_a() -> None:
    """Melting point 1100 °C, 25 A: 3.01 mm³/s (Groover, memory; recomputed)."""
    assert melting_point_removal_mm3_s(25.0, 1100.0) == pytest.approx(3.01, abs=0.005)


@pytest.mark.parametrize(("celsius", "mm3"), [(3410.0, 2159.0), (232.0, 58878.0)], ids=["tungsten", "tin"])
def test_groover_examples_of_one_hour_at_20_a(celsius: float, mm3: float) -> None:
    """20 A for an hour: tungsten 2159 mm³, tin 58 878 mm³ (Groover, memory; recomputed)."""
    assert melting_point_removal_mm3_s(20.0, celsius) * S_PER_H == pytest.approx(mm3, abs=0.5)


def test_the_bound_for_the_eroded_metals_lies_in_the_published_range() -> None:
    """At 10 A every metal we know gives 0.1 to 1000 mm³/min, the usual EDM range (El-Hofy p. 395)."""
    assert all(0.1 <= melting_point_removal_mm3_min(10.0, celsius) <= 1000.0 for celsius in MELTING_C.values())


@pytest.mark.parametrize(
    ("metal", "kelvin"), [("iron", 1811.15), ("tungsten", 3687.15), ("copper", 1357.77), ("zinc", 692.677)]
)
def test_melting_points_are_the_crc_values(metal: str, kelvin: float) -> None:
    """CRC values through the `chemicals` package (references)."""
    assert MELTING_C[metal] == pytest.approx(kelvin - 273.15, abs=1e-9)


@pytest.mark.parametrize(
    ("material", "celsius"),
    [
        ("hardened stainless steel", 1400.0),
        ("Tungsten", 3414.0),
        ("silver-steel", 1400.0),
        ("granite", None),
        ("", None),
    ],
)
def test_a_materials_name_gives_its_melting_point(material: str, celsius: float | None) -> None:
    """The metal is found among the words of the name; an unknown one gives none rather than a guess."""
    assert melting_c(material) == celsius


@pytest.mark.parametrize(("current_a", "celsius"), [(10.0, 0.0), (10.0, -5.0), (-1.0, 1500.0)])
def test_meaningless_arguments_are_refused(current_a: float, celsius: float) -> None:
    """A melting point of 0 or a negative current is refused."""
    with pytest.raises(ValueError, match="the removal law needs"):
        melting_point_removal_mm3_s(current_a, celsius)
