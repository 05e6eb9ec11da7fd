"""Water quality: published values, reference libraries, and the traps of printed tables."""

from __future__ import annotations

import itertools
import math
import warnings
from typing import Any

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.cases import Case, check, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import water
from workbook_tools.functions.formulas.water.ammonia_shares import free_above_total

CASES = published("WATER")
SEA_TABLE = [case for case in CASES if case.source.startswith("Bower & Bidwell 1978")]


TOTAL_SCALE = "cleggwhitfield_total_7.8_25_35"


@pytest.mark.parametrize("case", [case for case in CASES if case.case != TOTAL_SCALE], ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check(case)


def test_published_on_the_total_scale() -> None:
    """The one published row whose pH is on the total scale has the function of that scale."""
    [case] = [case for case in CASES if case.case == TOTAL_SCALE]
    acidity, temperature, salinity = (float(argument) for argument in case.arguments)
    assert case.agrees(water.ammonia_fraction_total(acidity, temperature, salinity))


@pytest.mark.parametrize("case", SEA_TABLE, ids=lambda case: case.case)
def test_sea_table_agrees_closely(case: Case) -> None:
    """Bower & Bidwell 1978: within 5 %, well inside the 12 % band of the published case."""
    acidity, temperature, salinity = (float(argument) for argument in case.arguments)
    assert water.ammonia_fraction(acidity, temperature, salinity) == pytest.approx(case.expected, rel=0.05)


def test_sea_rows_contradict_each_other_on_one_scale() -> None:
    """No pKa at 25 C satisfies both the total-scale row (salinity 35) and the table's rows (salinity 34), read alike;
    between the two salinities pKa moves by less than 0.003. Hence the scale has to be named.
    """

    def exponent(acidity: float, fraction: float) -> float:
        return acidity + math.log10(1 / fraction - 1)

    [total] = [case for case in CASES if case.case == "cleggwhitfield_total_7.8_25_35"]
    most = exponent(7.8, total.expected - total.tolerance)
    rows = [case for case in SEA_TABLE if case.arguments[1] == 25]
    least = max(exponent(float(case.arguments[0]), case.expected + case.tolerance) for case in rows)
    assert least > most + 0.01
    assert abs(math.log10(1 / water.ammonia_fraction_total(8, 25, 34) - 1) - math.log10(1 / 0.0555741 - 1)) < 0.003


def test_scales_are_told_apart() -> None:
    """25 C, salinity 35, pH 8: 0.0556 on the total scale, 0.0440 on the free one (Clegg & Whitfield 1995)."""
    assert water.ammonia_fraction_total(8, 25, 35) == pytest.approx(0.0556, abs=5e-5)
    assert water.ammonia_fraction(8, 25, 35) == pytest.approx(0.0440, abs=2e-4)
    notes = water.ammonia_fraction.__doc__ or ""
    assert "free scale" in notes
    assert "Khoo et al. 1977 is in error" in " ".join(notes.split())


@pytest.mark.parametrize("temperature", [0, 5, 15, 25, 40])
@pytest.mark.parametrize("salinity", [5, 20, 35, 40])
def test_bisulfate_agrees_with_pyco2sys(temperature: float, salinity: float) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from PyCO2SYS.equilibria.p1atm import kHSO4_FREE_D90a
    kelvin = temperature + 273.15
    constant = float(kHSO4_FREE_D90a(kelvin, salinity))
    expected = math.log10(1 + 0.02824 * salinity / 35 / constant)
    assert free_above_total(kelvin, salinity) == pytest.approx(expected, rel=1e-3)


def test_sea_water_agrees_with_pyco2sys() -> None:
    """Its constant is in mol/kg of sea water; ours, as printed, in mol/kg of water."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from PyCO2SYS.equilibria.p1atm import kNH3_TOT_CW95
    for temperature, salinity in itertools.product((-2, 5, 15, 25, 40), (1, 10, 20, 35, 40)):
        constant = float(kNH3_TOT_CW95(temperature + 273.15, salinity)) / (1 - 0.001005 * salinity)
        assert water.ammonia_fraction_total(8, temperature, salinity) == pytest.approx(
            1 / (1 + 1e-8 / constant), rel=1e-12
        )


@pytest.mark.parametrize("temperature", [0, 10, 20, 30, 40])
def test_first_trace_of_salt_makes_no_jump(temperature: float) -> None:
    fresh = water.ammonia_fraction(8, temperature)
    assert 0 < water.ammonia_fraction(8, temperature, 1e-9) / fresh - 1 < 0.005


@pytest.mark.parametrize(("acidity", "temperature"), [(7, 32), (8, 32), (9, 32), (7.4, 20)])
def test_misprinted_cells_follow_their_own_equation(acidity: float, temperature: float) -> None:
    """The 32 C column and the cell at pH 7.4 and 20 C of UF/IFAS FA-16 contradict the equation they were computed
    from (Emerson et al. 1975): they are in no case, and the function keeps to the equation, with 273.15.
    """
    printed = {case.arguments for case in CASES if "FA-16" in case.source}
    assert len(printed) > 50
    assert (acidity, temperature) not in {arguments[:2] for arguments in printed}
    exponent = 0.09018 + 2729.92 / (273.15 + temperature)
    answer = water.ammonia_fraction(acidity, temperature)
    assert answer == pytest.approx(1 / (1 + 10 ** (exponent - acidity)), rel=1e-12)


def test_zero_of_temperature() -> None:
    """Emerson's paper took 273.2; the fraction would be about 0.3 % higher."""
    exponent = 0.09018 + 2729.92 / (273.2 + 20)
    assert 1 / (1 + 10 ** (exponent - 8)) / water.ammonia_fraction(8, 20) - 1 == pytest.approx(0.003, abs=0.001)


def test_oxygen_agrees_with_gsw() -> None:
    """gsw O2sol (Garcia & Gordon's fit to Benson & Krause, umol/kg), turned into mg/L with gsw's density."""
    for temperature, salinity in itertools.product(range(0, 41, 2), (0, 5, 20, 35, 40)):
        absolute = gsw.SA_from_SP(salinity, 0, 0, 0)
        kilograms = float(gsw.rho_t_exact(absolute, temperature, 0)) / 1000
        expected = float(gsw.O2sol_SP_pt(salinity, temperature)) * kilograms * 31.9988e-3
        assert water.oxygen(temperature, salinity) == pytest.approx(expected, rel=4e-4)


def test_oxygen_and_pressure() -> None:
    assert water.oxygen(20, 0, 101.325) == water.oxygen(20)
    # dry air alone would scale with the pressure; vapour makes it fall faster
    assert water.oxygen(30, 0, 80) / water.oxygen(30) < 80 / 101.325
    assert water.oxygen_percent(water.oxygen(12, 5, 90), 12, 5, 90) == pytest.approx(100)


@pytest.mark.parametrize(
    ("altitude", "expected"), [(-500, 107.4775), (0, 101.325), (1000, 89.8746), (3000, 70.1085), (9000, 30.7425)]
)
def test_pressure(altitude: float, expected: float) -> None:
    """ISO 2533 table by geopotential altitude, from memory; 5 Pa."""
    assert water.pressure(altitude) == pytest.approx(expected, abs=0.005)


def test_carbon_dioxide_agrees_with_pyco2sys() -> None:
    """PyCO2SYS, opt_k_carbonic=8 (Millero 1979), salinity 0; the constants differ by 0.4 % at most here."""
    rows = list(itertools.product((6, 7, 8, 9), (10, 100, 400), (2, 15, 30)))
    points = np.array(rows, dtype=float)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import PyCO2SYS

        expected = PyCO2SYS.sys(
            par1=points[:, 1] * 2e6 / 100_087,
            par1_type=1,
            par2=points[:, 0],
            par2_type=3,
            salinity=0,
            temperature=points[:, 2],
            opt_k_carbonic=8,
        )["aqueous_CO2"]
    ours = np.array([water.co2(*row) for row in rows])
    assert np.max(np.abs(ours / (expected * 0.0440095) - 1)) < 0.004


def test_salinity_agrees_with_gsw() -> None:
    """gsw SP_from_C (PSS-78; below 2 its own variant of the same extension); ITS-90 temperatures on both sides.

    The extension, taken over the whole range here, fades as salinity grows: 0.0005 f / (1000 R^1.5), f up to 23 in
    the cold, is 1.2e-4 at salinity 5.6 and 2.3e-5 at 20.
    """
    for temperature in range(-2, 36):
        for conductivity in (0.05, 0.1, 0.3, 0.5, 1, 2, 3, 4, 5, 10, 15, 20, 30, 40, 50, 60):
            expected = float(gsw.SP_from_C(conductivity, temperature, 0))
            if expected <= 41.9:
                answer = water.salinity(conductivity, temperature)
                bound = 4e-4 if expected < 5 else 1.5e-4 if expected < 20 else 3e-5
                assert answer == pytest.approx(expected, abs=bound)


@given(st.floats(0.01, 41.9), st.floats(-2, 35))
def test_salinity_there_and_back(salinity: float, temperature: float) -> None:
    """Conductivity from gsw C_from_SP, and back."""
    conductivity = float(gsw.C_from_SP(salinity, temperature, 0))
    assert water.salinity(conductivity, temperature) == pytest.approx(salinity, abs=5e-4)


def test_salinity_of_standard_sea_water() -> None:
    """PSS-78: 42.914 mS/cm at 15 C of IPTS-68 is 35 exactly; at 15 C of ITS-90 it would be 34.997."""
    assert water.salinity(42.914, 15 / 1.00024) == pytest.approx(35, abs=1e-6)
    assert water.salinity(42.914, 15) == pytest.approx(34.997, abs=5e-4)


@pytest.mark.parametrize(
    ("old_temperature", "salinity", "expected"),
    [(5, 0, 999.96675), (25, 0, 997.04796), (5, 35, 1027.67547), (25, 35, 1023.34306)],
)
def test_density_on_the_old_temperature_scale(old_temperature: float, salinity: float, expected: float) -> None:
    """UNESCO EOS-80 check values use IPTS-68: turned into ITS-90 first they are met to the last digit."""
    assert water.density(old_temperature / 1.00024, salinity) == pytest.approx(expected, abs=5.1e-6)


def test_density_agrees_with_gsw() -> None:
    """gsw rho_t_exact (TEOS-10, another equation of state): within 0.01 kg/m3."""
    for temperature, salinity in itertools.product(range(0, 41, 4), (0, 5, 20, 35, 40)):
        expected = float(gsw.rho_t_exact(gsw.SA_from_SP(salinity, 0, 0, 0), temperature, 0))
        assert water.density(temperature, salinity) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (water.ammonia_fraction, (15, 20), r"pH = 15.0: is too large \(allowed: 0 to 14\)"),
        (water.ammonia_fraction, (8, 80), r"temperature = 80.0: is too large \(allowed: -2 to 40 C\)"),
        (water.ammonia_fraction, (8, 20, 200), r"salinity = 200.0: is too large \(allowed: 0 to 42 g/kg\)"),
        (water.ammonia_fraction, (8, True), r"temperature = True: is TRUE or FALSE, not a number"),
        (water.ammonia_fraction, (8, None), r"temperature = None: is blank"),
        (water.ammonia, (math.nan, 8, 20), r"total = nan: is not a finite number"),
        (water.oxygen, (20, 0, 101325), r"pressure = 101325.0: is too large \(allowed: 30 to 120 kPa\)"),
        (water.oxygen_percent, (-1, 20), r"oxygen now = -1.0: is negative"),
        (water.pressure, (1e308,), r"altitude = 1e\+308: is too large \(allowed: -500 to 9000 m\)"),
        (water.co2, (7, "", 20), r"alkalinity = '': is blank"),
        (water.co2, (4, 300, 12), "more carbon dioxide than water holds"),
        (water.salinity, (0, 20), r"conductivity = 0.0: is zero \(allowed: above 0 up to 100 mS/cm\)"),
        (water.salinity, (90, 20), "the water is saltier than 42, where the scale ends"),
        (water.density, (20, "5"), r"salinity = '5': is text, not a number"),
    ],
)
def test_bad_input(function: Any, arguments: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError, match=sentence):
        function(*arguments)
