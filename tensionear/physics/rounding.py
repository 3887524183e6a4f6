"""How a value and its uncertainty are rounded for people, in one place. Imports nothing of the package."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

#: The greatest leading digit of an uncertainty that still gets a second digit.
TWO_DIGITS_UP_TO = 2


def rounded(value: float, uncertainty: float) -> tuple[str, str]:
    """Round a value to the place its uncertainty is worth, and the uncertainty with it.

    Parameters
    ----------
    value : float
        Finite, any unit.
    uncertainty : float
        Same unit, finite, > 0; standard or expanded.

    Returns
    -------
    value, uncertainty : str
        The uncertainty with two significant digits where its leading digit is 1 or 2, else with one; the value to the
        same decimal place, halves to even. Never an exponent, never a minus zero.

    Raises
    ------
    ValueError
        If the value is not finite or the uncertainty not finite and positive.

    Notes
    -----
    JCGM 100:2008 (GUM) 7.2.6: at most two significant digits of an uncertainty, and the estimate rounded to agree
    with it. That a second digit is kept only after a leading 1 or 2 is our choice within that rule: it keeps the
    rounding error of the uncertainty itself below 17 %.
    """
    if not math.isfinite(value) or not math.isfinite(uncertainty) or uncertainty <= 0:
        raise ValueError(
            f"{value} with uncertainty {uncertainty} cannot be rounded; give finite numbers, the second > 0"
        )
    exact = Decimal(repr(float(uncertainty)))
    exponent = exact.adjusted()
    leading = exact.as_tuple().digits[0]
    place = Decimal(1).scaleb(exponent - 1 if leading <= TWO_DIGITS_UP_TO else exponent)
    return _to_place(Decimal(repr(float(value))), place), _to_place(exact, place)


def _to_place(number: Decimal, place: Decimal) -> str:
    """The number in plain digits at this decimal place (a power of ten, also above one)."""
    kept = (number / place).quantize(Decimal(1), rounding=ROUND_HALF_EVEN) * place
    if kept == 0:
        kept = abs(kept)
    return f"{kept:f}"
