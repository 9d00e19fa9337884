"""Numbers as text, rounded to their uncertainty."""

from __future__ import annotations

from math import floor, isfinite, log10
from typing import Final

MINUS: Final = "−"
FINEST: Final = -3
"""Power of ten below which no yield and no scatter is written: nobody measures a gas finer."""


def number(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, whole ones never cut.

    >>> number(0.12345), number(1234.5), number(-3.0)
    ('0.123', '1234', '−3.00')
    """
    if abs(value) < 5e-7:
        return "0"
    return _at(value, min(_exponent(value) - digits + 1, 0))


def short(value: float) -> str:
    """Return a number with three digits at most and no idle noughts.

    >>> short(45.0), short(27.7292), short(2.5)
    ('45', '27.7', '2.5')
    """
    text = number(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(value: float) -> str:
    """Return a percentage with its sign: one decimal, two below one percent.

    >>> percent(-3.696), percent(0.0104), percent(12)
    ('−3.7 %', '+0.01 %', '+12.0 %')
    """
    text = _at(value, -1 if abs(value) >= 0.95 else -2)
    return f"{text if text.startswith(MINUS) else '+' + text} %"


def change_size(ratio: float) -> str:
    """Return the size of the change that a ratio means, in percent: whole from 10 % on.

    >>> change_size(1.784), change_size(0.968)
    ('78', '3.2')
    """
    change = abs(100.0 * (ratio - 1.0))
    return short(round(change, 0 if change >= 9.5 else 1))


def signed_change(ratio: float) -> str:
    """Return the change that a ratio means, with its sign.

    >>> signed_change(1.784), signed_change(0.968)
    ('+78 %', '−3.2 %')
    """
    return f"{MINUS if ratio < 1.0 else '+'}{change_size(ratio)} %"


def uncertainty_place(uncertainty: float) -> int:
    """Return the power of ten that an uncertainty is rounded to.

    The rule of the Particle Data Group (Review of Particle Physics, Introduction, 5.3; from
    memory): leading digits 100 to 354 keep two digits, 355 to 949 one, 950 to 999 become 1000.

    Raises
    ------
    ValueError
        The uncertainty is not a number above zero.
    """
    if not (isfinite(uncertainty) and uncertainty > 0.0):
        raise ValueError("an uncertainty is a number above zero")
    exponent = _exponent(uncertainty)
    leading = round(uncertainty / 10.0 ** (exponent - 2))
    if leading <= 354:
        return exponent - 1
    return exponent


def with_uncertainty(value: float, uncertainty: float | None) -> str:
    """Return `value ± uncertainty`, both rounded to the place of the uncertainty.

    An uncertainty that three decimals do not show is none (jars that are copies): the value alone.

    >>> with_uncertainty(241.26, 9.34), with_uncertainty(387.5, 52.8)
    ('241 ± 9', '390 ± 50')
    """
    if not uncertainty or abs(uncertainty) < 0.5 * 10.0**FINEST:
        return number(value)
    place = max(uncertainty_place(uncertainty), FINEST)
    return f"{_at(value, place)} ± {_at(uncertainty, place)}"


def with_interval(value: float, interval: tuple[float | None, float | None] | None) -> str:
    """Return a value with its interval in words, to two digits of the interval's half width.

    No finer than three digits of its ends, since nobody reads more.

    >>> with_interval(0.13015, (0.11833, 0.14197))
    '0.130 (0.118 to 0.142)'
    """
    if interval is None:
        return number(value)
    low, high = interval
    if low is None or high is None or high <= low:
        return number(value)
    place = _place_of_interval(low, high)
    return f"{_at(value, place)} ({_at(low, place)} to {_at(high, place)})"


def interval_words(interval: tuple[float | None, float | None]) -> str:
    """Return an interval, open ones included: `at least 24.1`.

    >>> interval_words((24.054, None)), interval_words((334.77, 440.29))
    ('at least 24.1', '335 to 440')
    """
    low, high = interval
    if low is None:
        return "unknown" if high is None else f"at most {number(high)}"
    if high is None:
        return f"at least {number(low)}"
    if high <= low:
        return number(low)
    place = _place_of_interval(low, high)
    return f"{_at(low, place)} to {_at(high, place)}"


def _place_of_interval(low: float, high: float) -> int:
    """Return the place of two digits of the half width, but never finer than three of the ends."""
    finest = _exponent(max(abs(low), abs(high))) - 2
    return max(_exponent((high - low) / 2.0) - 1, finest)


def _exponent(value: float) -> int:
    return floor(log10(abs(value))) if value else 0


def _at(value: float, place: int) -> str:
    """Return a number rounded to a power of ten, its last digit never beyond that."""
    # Python's own float: NumPy's rounds in two steps
    rounded = round(float(value), -place)
    text = f"{abs(rounded):.{max(-place, 0)}f}"
    return MINUS + text if rounded < 0 else text
