"""The fits and their uncertainties against certified and published data sets."""

from __future__ import annotations

import pytest

from controller.core.fits import combined_u, effective_freedom, fit_line, fit_plane

# NIST Statistical Reference Datasets, Norris (linear regression, certified values).
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5,
    11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1,
    448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9,
    10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4,
    449.2, 0.2,
]  # fmt: skip

# JCGM 100:2008 (GUM), H.3: calibration of a thermometer, readings t and corrections b, both in degrees C.
GUM_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
GUM_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]

# Montgomery & Runger, Applied Statistics and Probability for Engineers, wire-bond pull strength (memory): z, x, y.
WIRE_BOND = [
    (9.95, 2, 50), (24.45, 8, 110), (31.75, 11, 120), (35, 10, 550), (25.02, 8, 295), (16.86, 4, 200),
    (14.38, 2, 375), (9.6, 2, 52), (24.35, 9, 100), (27.5, 8, 300), (17.08, 4, 412), (37, 11, 400),
    (41.95, 12, 500), (11.66, 2, 360), (21.65, 4, 205), (17.89, 4, 400), (69, 20, 600), (10.3, 1, 585),
    (34.93, 10, 540), (46.59, 15, 250), (44.88, 15, 290), (54.12, 16, 510), (56.63, 17, 590), (22.13, 6, 100),
    (21.15, 5, 400),
]  # fmt: skip


def test_line_reproduces_the_certified_norris_values() -> None:
    """Coefficients, their standard deviations, residual sd and R² to 10 digits of NIST StRD Norris."""
    line = fit_line(NORRIS_X, NORRIS_Y)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-11)
    assert line.u_slope == pytest.approx(4.29796848199937e-4, rel=1e-10)
    assert line.at(0.0) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.u_at(0.0) == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-12)
    assert line.freedom == 34


def test_line_reproduces_the_gum_calibration_and_its_correlation() -> None:
    """Offset at 20 degrees, slope, their uncertainties and correlation are those of GUM H.3.3."""
    line = fit_line(GUM_T, GUM_B)
    assert line.at(20.0) == pytest.approx(-0.1712, abs=5e-5)
    assert line.u_at(20.0) == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation_at(20.0) == pytest.approx(-0.930, abs=5e-4)


def test_line_extrapolates_with_the_uncertainty_of_the_gum() -> None:
    """At 30 degrees, beyond the data, the correction is -0.1494 with standard uncertainty 0.0041 (GUM H.3.4)."""
    line = fit_line(GUM_T, GUM_B)
    assert line.at(30.0) == pytest.approx(-0.1494, abs=5e-5)
    assert line.u_at(30.0) == pytest.approx(0.0041, abs=5e-5)


def test_uncertainty_from_offset_slope_and_correlation_is_the_same_as_ours() -> None:
    """The GUM's own formula, u(offset)² + (dt u(slope))² + 2 dt u u r (H.3.4), gives what `u_at` gives."""
    line = fit_line(GUM_T, GUM_B)
    u_offset, dt = line.u_at(20.0), 10.0
    squared = u_offset**2 + (dt * line.u_slope) ** 2 + 2 * dt * u_offset * line.u_slope * line.correlation_at(20.0)
    assert line.u_at(30.0) == pytest.approx(squared**0.5, rel=1e-12)


def test_plane_reproduces_the_wire_bond_regression() -> None:
    """Coefficients and residual variance of the wire-bond set (Montgomery & Runger, memory; recomputed)."""
    zs, xs, ys = zip(*WIRE_BOND, strict=True)
    plane = fit_plane(xs, ys, zs)
    assert plane.at(0.0, 0.0) == pytest.approx(2.263791, abs=5e-7)
    assert plane.slope_x == pytest.approx(2.744270, abs=5e-7)
    assert plane.slope_y == pytest.approx(0.0125278, abs=5e-8)
    assert plane.residual_sd**2 == pytest.approx(5.23516, abs=5e-6)
    assert plane.freedom == 22


def test_plane_uncertainty_at_a_place_is_the_textbooks() -> None:
    """Length 8, height 275: mean strength 27.66, standard error 0.482 (Montgomery & Runger, memory)."""
    zs, xs, ys = zip(*WIRE_BOND, strict=True)
    plane = fit_plane(xs, ys, zs)
    assert plane.at(8, 275) == pytest.approx(27.66, abs=0.006)
    assert plane.u_at(8, 275) == pytest.approx(0.482, abs=0.001)
    assert (plane.u_slope_x, plane.u_slope_y) == pytest.approx((0.09352, 0.002798), abs=5e-6)


# JCGM 100:2008, H.1 (end gauge): components in nm. Their degrees of freedom are from memory of the same example.
END_GAUGE = [(25.0, 18.0), (16.599, 2.0), (6.7, 8.0), (5.8, 24.0), (3.9, 5.0), (2.887, 50.0)]


def test_combined_uncertainty_of_the_gum_end_gauge() -> None:
    """GUM H.1 combines to 32 nm with 16 effective degrees of freedom (Welch-Satterthwaite, cut off)."""
    assert round(combined_u(*(u for u, _ in END_GAUGE))) == 32
    assert int(effective_freedom(END_GAUGE)) == 16
