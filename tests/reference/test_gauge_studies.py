"""Gauge studies by the analysis of variance, against two published ones.

Both from memory, data and tables apart; that the data give the printed tables to the last digit speaks for both.

1. Measurement Systems Analysis, Automotive Industry Action Group, 4th edition, 2010, chapter III, section B: 10 parts, 3
   appraisers, 3 trials, and its table of variance and of standard deviations.
2. R. K. Houf and D. B. Berman, Statistical analysis of power module thermal test equipment performance, IEEE Trans. on
   Components, Hybrids and Manufacturing Technology 11 (1988) 516-520: 10 modules, 3 inspectors, 3 tests, in 1/100 K/W; the table
   as D. C. Montgomery, Introduction to Statistical Quality Control, prints it.
"""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.batch.study import Study, analyse

#: Appraisers A, B, C, three lines of ten parts each.
PARTS = """
0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16
"""
#: Inspectors 1, 2, 3, one line each: three tests of module 1, three of module 2, and so on.
MODULES = """
37 38 37 42 41 43 30 31 31 42 43 42 28 30 29 42 42 43 25 26 27 40 40 40 25 25 25 35 34 34
41 41 40 42 42 42 31 31 31 43 43 43 29 30 29 45 45 45 28 28 30 43 42 42 27 29 28 35 35 34
41 42 41 43 42 43 29 30 28 42 42 42 31 29 29 44 46 45 29 27 27 43 43 41 26 26 26 35 34 35
"""


def numbers(text: str) -> np.ndarray:
    return np.array([[float(each) for each in line.split()] for line in text.strip().splitlines()])


def study_of_parts() -> Study:
    return analyse(numbers(PARTS).reshape(3, 3, 10).transpose(2, 0, 1))


def study_of_modules() -> Study:
    return analyse(numbers(MODULES).reshape(3, 10, 3).transpose(1, 0, 2))


def test_the_table_of_the_parts() -> None:
    wheels, operators, both, repeats = study_of_parts().table
    assert [each.freedom for each in (wheels, operators, both, repeats)] == [9, 2, 18, 60]
    assert wheels.squares == pytest.approx(88.3619, abs=5e-5)
    assert wheels.mean_square == pytest.approx(9.81799, abs=5e-6)
    assert operators.squares == pytest.approx(3.1673, abs=5e-5)
    assert operators.mean_square == pytest.approx(1.58363, abs=5e-6)
    assert both.squares == pytest.approx(0.3590, abs=5e-5)
    assert both.f == pytest.approx(0.434, abs=5e-4)
    assert repeats.squares == pytest.approx(2.7589, abs=5e-5)
    assert repeats.mean_square == pytest.approx(0.045982, abs=5e-7)


def test_the_components_of_the_parts() -> None:
    """The interaction is not significant, so it joins repeatability."""
    study = study_of_parts()
    assert study.pooled
    assert study.repeatability.sigma == pytest.approx(0.199933, abs=5e-7)
    assert study.reproducibility.sigma == pytest.approx(0.226838, abs=5e-7)
    # printed 0.302373, which the root of its own two squares misses by 1.5 in the last digit
    assert study.gauge.sigma == pytest.approx(0.302373, abs=2e-6)
    assert study.between_wheels.sigma == pytest.approx(1.042327, abs=5e-7)
    assert study.gauge.study_percent == pytest.approx(27.9, abs=0.05)
    assert study.between_wheels.study_percent == pytest.approx(96.0, abs=0.05)
    assert study.categories == 4


def test_the_study_of_the_modules() -> None:
    """The interaction is significant, so it counts as reproducibility."""
    study = study_of_modules()
    wheels, operators, both, repeats = study.table
    assert wheels.squares == pytest.approx(3935.96, abs=5e-3)
    assert operators.squares == pytest.approx(39.27, abs=5e-3)
    assert both.squares == pytest.approx(48.51, abs=5e-3)
    assert repeats.squares == pytest.approx(30.67, abs=5e-3)
    assert wheels.f == pytest.approx(162.27, abs=5e-3)
    assert operators.f == pytest.approx(7.28, abs=1e-2)
    assert both.f == pytest.approx(5.27, abs=5e-3)
    assert not study.pooled
    assert study.repeatability.sigma**2 == pytest.approx(0.5111, abs=5e-5)
    assert study.reproducibility.sigma**2 == pytest.approx(0.5646 + 0.7280, abs=1e-4)
    assert study.between_wheels.sigma**2 == pytest.approx(48.2926, abs=5e-5)
    assert study.total.sigma**2 == pytest.approx(50.0963, abs=5e-5)
