"""Text such as ``2k2``, ``1.2 Vpp``, ``-18 dBu`` to numbers in SI units, and back.

Numbers may have a decimal point or a decimal comma. What could be read in two ways (``1,000``, ``4E7``, ``10`` for a
capacitor) is refused with both meanings, because a wrong guess would be blamed on a part later.

References
----------
[1] IEC 60062, marking codes for resistors and capacitors: the letter stands at the place of the decimal point
    (``4R7``, ``2k2``, ``3p3``). From memory, to be verified.
[2] 0 dBu is the voltage of 1 mW in 600 ohm, sqrt(0.6) V = 0.7746 V (ITU-R BS.645, IEC 60268-17). From memory, to be
    verified.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

#: 0 dBu [V rms], reference 2.
ZERO_DBU = math.sqrt(0.6)

#: Peak-to-peak and peak value of a sine over its rms value.
PP_PER_RMS = 2.0 * math.sqrt(2.0)
PEAK_PER_RMS = math.sqrt(2.0)

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:e[+-]?[0-9]{1,3}|E[+-][0-9]{1,3})?"
_SAME_CHARACTER = str.maketrans(
    {
        "\u2212": "-",  # minus sign
        "\u2013": "-",  # en dash, which word processors put for a minus
        "\u2126": "Ω",  # ohm sign
        "\u03bc": "µ",  # Greek mu
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u00ad": None,  # not seen, but copied along from pages and tables: soft hyphen, zero widths, byte-order mark
        "\u200b": None,
        "\u200c": None,
        "\u200d": None,
        "\u2060": None,
        "\ufeff": None,
    }
)
#: 1 200, 1'200, 1.234,5 and 1,234.5: thousands set apart, then what cannot be a thousand.
_GROUPED = re.compile(
    r"([+-]?[0-9]{1,3}(?:[ '’][0-9]{3})+|[+-]?[0-9]{1,3}(?:\.[0-9]{3}){2,}|[+-]?[0-9]{1,3}(?:,[0-9]{3}){2,}"
    r"|[+-]?[0-9]{1,3}(?:\.[0-9]{3})+(?=,)|[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?=\.))([.,][0-9]+)?(?![0-9.,])"
)
_PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}


@dataclass(frozen=True)
class Measure:
    """A quantity read from text.

    Parameters
    ----------
    value : float
        In SI units. For a voltage written as peak-to-peak, peak, dBu or dBV the rms value of a sine of that size;
        for one written as plain volts that number of volts.
    given_as : str
        ``rms`` (also dBV), ``pp``, ``peak``, ``dBu`` or ``plain``.
    """

    value: float
    given_as: str = "plain"


@dataclass(frozen=True)
class _Component:
    """How the value of one kind of component is written."""

    name: str
    words: str  # the unit's own spellings, as a regular expression
    letters: dict[str, float]  # multipliers, also in the place of the decimal point
    examples: str


_COMPONENTS = {
    "ohm": _Component(
        "resistance",
        r"Ω|[Oo][Hh][Mm][Ss]?",
        {"R": 1.0, "r": 1.0, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "meg": 1e6, "Meg": 1e6, "MEG": 1e6, "G": 1e9},
        "4R7, 2k2, 22 kΩ or 1M5",
    ),
    "farad": _Component(
        "capacitance",
        r"F|[Ff]arads?|(?<=[pnuµmPNU])f",
        {"p": 1e-12, "P": 1e-12, "n": 1e-9, "N": 1e-9, "u": 1e-6, "U": 1e-6, "µ": 1e-6, "m": 1e-3, "F": 1.0},
        "3p3, 100n, 4u7 or 47 µF",
    ),
    "henry": _Component(
        "inductance",
        r"H|[Hh]enr(?:y|ies)|(?<=[nuµm])h",
        {"n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "H": 1.0},
        "1u5, 4m7 or 10 mH",
    ),
    "ampere": _Component(
        "current",
        r"A|[Aa]mp(?:ere)?s?",
        {"m": 1e-3, "u": 1e-6, "µ": 1e-6, "A": 1.0},
        "3A15, 500 mA or 3.15 A",
    ),
    "volt": _Component(
        "voltage",
        r"V|[Vv]olts?|(?<=m)v",
        {"m": 1e-3, "V": 1.0},
        "5V1, 12 V or 800 mV",
    ),
}


def fold(text: str) -> str:
    """Return the text with the look-alikes of minus, µ, Ω and space replaced by one character each."""
    return " ".join(text.translate(_SAME_CHARACTER).split())


def component(text: str, unit: str) -> float:
    """Return a component's value.

    Parameters
    ----------
    text : str
        IEC 60062 code [1]_ or plain text: ``2k2``, ``R22``, ``1.5k``, ``1,5 kΩ``, ``4u7``, ``10 µF``, ``100n``. For
        ohms ``M`` is mega and ``m`` milli.
    unit : str
        ``ohm``, ``farad``, ``henry``, ``ampere`` for a fuse, ``volt`` for a Zener diode, ``turns`` for a transformer's
        ratio: ``25:1``.

    Returns
    -------
    float
        [ohm], [F], [H], [A], [V] or turns of the primary to one of the secondary; at least zero, and above zero for
        anything but ohms (a wire link is 0R).

    Raises
    ------
    ValueError
        If the text is no such value or can be read in two ways; the message says what was expected.
    """
    if unit == "turns":
        return _turns(text)
    kind = _COMPONENTS[unit]
    clean = fold(text)
    bare = re.sub(rf"(?<=[0-9.,a-zA-Zµ ])(?:{kind.words})$", "", clean).strip()
    letters = "|".join(sorted(kind.letters, key=len, reverse=True))
    if match := re.fullmatch(rf"({_NUMBER})\s*({letters})?", bare):
        value = _number(match[1], text, kind.letters.get(match[2] or "", 1.0))
        has_unit = bool(match[2]) or bare != clean
    elif match := re.fullmatch(rf"([+-]?[0-9]*)({letters})([0-9]+)", bare):
        value = _number(f"{match[1]}.{match[3]}", text, kind.letters[match[2]])
        has_unit = True
    else:
        hint = _component_hint(bare, unit)
        raise ValueError(f"'{text}' is no {kind.name}: expected for example {kind.examples}.{hint}")
    if not math.isfinite(value):
        raise ValueError(f"'{text}' is too large for a {kind.name}.")
    if math.copysign(1.0, value) < 0:
        raise ValueError(f"'{text}': a {kind.name} can't be negative.")
    if value == 0 and unit != "ohm":
        raise ValueError(f"'{text}': a {kind.name} can't be zero; expected for example {kind.examples}.")
    if unit == "farad" and not has_unit and value >= 1:
        raise ValueError(f"'{text}' would be {show(value, 'farad')}.{_bare_farads(clean)}")
    return value


def _turns(text: str) -> float:
    """Return a transformer's turns ratio: ``25:1``, ``230V:250V`` (off load), ``1:1``."""
    clean = fold(text).replace(" ", "")
    match = re.fullmatch(rf"({_NUMBER})[Vv]?:({_NUMBER})[Vv]?", clean)
    sides = [_number(side, text) for side in match.groups()] if match else []
    if not match or min(sides) <= 0:
        raise ValueError(f"'{text}' is no turns ratio: expected for example 25:1, or the volts 230:250.")
    return sides[0] / sides[1]


def _number(text: str, whole: str, times: float = 1.0) -> float:
    """Return a number with a decimal point or comma; refuse ``1,000``, a thousand to some and one to others.

    Multiplied in decimal, so that ``3p3`` is the float nearest to 3.3e-12.
    """
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", text):
        thousand, point = text.replace(",", ""), text.replace(",", ".")
        raise ValueError(f"'{whole}' can be read in two ways: write {thousand} or {point}, with no comma.")
    return float(Decimal(text.replace(",", ".")) * Decimal(str(times)))


def _component_hint(bare: str, unit: str) -> str:
    """Return the likely meaning of a component value that is none; empty if there is no good guess."""
    if unit == "ohm" and (match := re.fullmatch(r"([0-9.,]+)[Ee]([0-9]*)", bare)):
        return f" If the E stands for the decimal point, write {match[1]}R{match[2]}."
    if unit == "farad" and (match := re.fullmatch(rf"({_NUMBER})\s*(?:M|[mM][fF][dD])", bare)):
        return f" On old drawings that is microfarads: write {match[1]}u."
    if match := re.fullmatch(r"([0-9]*[a-zA-Zµ][0-9]+|[0-9.,]+[a-zA-Zµ]) ?([BCDGJKM])", bare):
        percent = {"B": "0.1", "C": "0.25", "D": "0.5", "G": "2", "J": "5", "K": "10", "M": "20"}[match[2]]
        return f" If the last letter is the tolerance, write {match[1]} {percent}%."
    return ""


def _bare_farads(clean: str) -> str:
    """Return what a capacitor's bare number may have meant; three figures may be the code printed on the part."""
    if re.fullmatch(r"[1-9][0-9][0-6]", clean):
        coded = show(int(clean[:2]) * 10 ** int(clean[2]) * 1e-12, "farad")
        return f" Write {clean}p or {clean}u, or {coded} if {clean} is the code printed on the part."
    return f" Write {clean}u, {clean}n or {clean}p."


_VOLT_FORMS = {
    "plain": r"|\s*dc",
    "rms": r"\s*(?:rms|r\.m\.s\.|eff|ac)",
    "pp": r"\s*(?:pp|p-p|pk-pk|pkpk|ptp|p/p|peak-to-peak|peak to peak)",
    "peak": r"\s*(?:p|pk|peak)",
}

#: Unit of each dimension, prefixes it may have, and examples.
_DIMENSIONS = {
    "voltage": ("V", "unµmkK", "420 mV rms, 1.2 Vpp, -18 dBu, or 3.3 V for dc"),
    "frequency": ("Hz", "kKM", "500 Hz or 10 kHz"),
    "power": ("W", "uµmkK", "100 W or 500 mW"),
    "current": ("A", "pnuµm", "80 mA or 1.5 A"),
    "time": ("s", "nuµm", "2 min, 30 s or 5 ms"),
}


def measure(text: str, dimension: str) -> Measure:
    """Return a quantity of a bench or a unit file.

    Parameters
    ----------
    text : str
        ``1.2Vpp``, ``420 mV rms``, ``-18 dBu``, ``-10 dBV``, ``12 mVpk``, ``+15 V``; ``10k``; ``2 min``; ``5%``.
    dimension : str
        ``voltage``, ``frequency``, ``power``, ``current``, ``time``, ``fraction``, ``resistance`` or ``capacitance``.

    Returns
    -------
    Measure
        [V], [Hz], [W], [A], [s], [1], [ohm] or [F].

    Raises
    ------
    ValueError
        If the text is no such quantity; the message says what was expected.
    """
    if dimension in ("resistance", "capacitance"):
        return Measure(component(text, {"resistance": "ohm", "capacitance": "farad"}[dimension]))
    clean = fold(text)
    if dimension == "fraction":
        return Measure(_finite(_fraction(clean, text), text))
    if dimension == "voltage" and (found := _voltage_in_db(clean, text)):
        return found
    symbol, prefixes, examples = _DIMENSIONS[dimension]
    forms = _VOLT_FORMS if dimension == "voltage" else {"plain": ""}
    tail = "|".join(f"(?P<{name}>{form})" for name, form in forms.items())
    unit = f"(?:{symbol}|{symbol.lower()}|{symbol.upper()})"
    if dimension == "time" and (match := re.fullmatch(rf"({_NUMBER})\s*(min|minutes?|h|hours?)", clean)):
        value, form = _number(match[1], text) * (60.0 if match[2].startswith("m") else 3600.0), "plain"
    elif dimension == "power" and (match := re.fullmatch(rf"([0-9]+)\s*/\s*([1-9][0-9]*)\s*{unit}", clean)):
        value, form = float(match[1]) / float(match[2]), "plain"
    elif match := re.fullmatch(rf"({_NUMBER})\s*([{prefixes}]?)\s*{unit}(?i:{tail})", clean):
        value = _number(match[1], text, _PREFIXES[match[2]])
        form = next(name for name, part in match.groupdict().items() if part is not None)
    elif match := re.fullmatch(rf"([+-]?[0-9]+)({symbol})([0-9]+)", clean):  # 3V3
        value, form = _number(f"{match[1]}.{match[3]}", text), "plain"
    elif dimension == "frequency" and (match := re.fullmatch(rf"({_NUMBER})\s*([kKM]?)", clean)):
        value, form = _number(match[1], text, _PREFIXES[match[2]]), "plain"
    elif dimension == "frequency" and (match := re.fullmatch(r"([0-9]+)([kM])([0-9]+)\s*(?:Hz)?", clean)):
        value, form = _number(f"{match[1]}.{match[3]}", text, _PREFIXES[match[2]]), "plain"
    else:
        hint = _measure_hint(clean, dimension)
        raise ValueError(f"'{text}' is no {dimension}: expected for example {examples}.{hint}")
    _finite(value, text)
    if math.copysign(1.0, value) < 0 and (dimension not in ("voltage", "current") or form != "plain"):
        raise ValueError(f"'{text}' can't be negative: expected for example {examples}.")
    if value == 0 and dimension == "frequency":
        raise ValueError(f"'{text}': a frequency can't be zero.")
    return Measure(value / {"pp": PP_PER_RMS, "peak": PEAK_PER_RMS}.get(form, 1.0), form)


def _finite(value: float, text: str) -> float:
    """Return the value, or refuse one too large for a float."""
    if not math.isfinite(value):
        raise ValueError(f"'{text}' is too large.")
    return value


def _fraction(clean: str, text: str) -> float:
    """Return ``5%``, ``±5 %`` or ``0.05`` as a number."""
    if match := re.fullmatch(rf"±?\s*({_NUMBER})\s*(%?)", clean):
        return _number(match[1], text, 0.01 if match[2] else 1.0)
    raise ValueError(f"'{text}' is no fraction: expected for example 5% or 0.05.")


def _voltage_in_db(clean: str, text: str) -> Measure | None:
    """Return a voltage given in dBu or dBV; None if it is not given in decibels."""
    if not (match := re.fullmatch(rf"({_NUMBER})\s*(?i:dB(u|V))", clean)):
        return None
    number = _number(match[1], text)
    if abs(number) > 200:  # 10 GV, or a hundred million times below the noise of any resistor
        raise ValueError(f"'{text}': a level lies between -200 and 200 dBu.")
    is_dbu = match[2].lower() == "u"
    return Measure((ZERO_DBU if is_dbu else 1.0) * 10.0 ** (number / 20.0), "dBu" if is_dbu else "rms")


def _measure_hint(clean: str, dimension: str) -> str:
    """Return the likely meaning of a measure that is none; empty if there is no good guess."""
    if match := _GROUPED.match(clean):
        point = re.sub(r"[., '’](?=[0-9]{3}(?![0-9]))", "", match[1]) + (match[2] or "").replace(",", ".")
        return f" Write {point}{clean[match.end() :]}, without marks between the thousands."
    match = re.fullmatch(rf"({_NUMBER})\s*(.*)", clean)
    if not match:
        return ""
    number, tail = match[1], match[2]
    if dimension == "voltage" and tail == "":
        return f" Write {number} V rms or {number} Vpp for a level, {number} V for dc."
    if dimension == "voltage" and tail.lower() in ("db", "dbm"):
        return f" Decibels need their reference: write {number} dBu or {number} dBV."
    if dimension == "voltage" and tail in ("M", "MV"):
        return f" Write {number} mV for millivolts."
    if tail == "":
        return f" Write the unit: {number} {_DIMENSIONS[dimension][0]}."
    if other := _other_dimension(clean, dimension):
        return f" That is a {other}."
    return ""


def _other_dimension(clean: str, dimension: str) -> str:
    """Return what a text with a unit measures instead, such as a frequency; empty if it is nothing known."""
    for other, (symbol, prefixes, _) in _DIMENSIONS.items():
        forms = "|".join(_VOLT_FORMS.values()) if other == "voltage" else ""
        if other != dimension and re.fullmatch(rf"{_NUMBER}\s*[{prefixes}]?(?i:{symbol})(?i:{forms})", clean):
            return other
    return "resistance" if re.fullmatch(rf"{_NUMBER}\s*[kKM]?(?:Ω|[Oo]hms?)", clean) else ""


_SYMBOLS = {"ohm": "Ω", "farad": "F", "henry": "H", "ampere": "A", "volt": "V"}
_STEPS = [(1e-12, "p"), (1e-9, "n"), (1e-6, "µ"), (1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M"), (1e9, "G")]


def show(value: float, unit: str, digits: int = 3) -> str:
    """Return a value as the trade writes it.

    Parameters
    ----------
    value : float
        In SI units; a fraction for ``%``.
    unit : str
        ``ohm``, ``farad``, ``henry``, ``V``, ``W``, ``A``, ``Hz``, ``s``, ``dB``, ``%``, ``turns`` (``25:1``), or any
        other symbol that takes prefixes (``V rms``, ``Vpp``).
    digits : int
        Significant figures; decibels get ``digits - 2`` decimals.

    Returns
    -------
    str
        ``2.2 kΩ``, ``47 µF``, ``1.23 mV``, ``-6.0 dB``, ``0 V``; ``—`` for nan. Reservoirs stay in microfarads
        (``4700 µF``) and small resistors in ohms (``0.22 Ω``).
    """
    if unit == "turns" and value > 0:
        return f"{figures(value, digits)}:1" if value >= 1 else f"1:{figures(1 / value, digits)}"
    symbol = _SYMBOLS.get(unit, unit)
    if math.isnan(value):
        return "—"
    if math.isinf(value):
        return f"{'-' if value < 0 else ''}∞ {symbol}"
    if unit.startswith("dB"):
        decimals = max(digits - 2, 0)
        return f"{round(value, decimals) + 0.0:.{decimals}f} {symbol}"
    if unit == "%":
        return f"{figures(value * 100.0, digits)} %"
    if value == 0:
        return f"0 {symbol}"
    value = float(f"{value:.{digits - 1}e}")  # rounded first, so that 999.9 mV becomes 1 V
    scale, prefix = _step(abs(value), unit)
    return f"{figures(value / scale, digits)} {prefix}{symbol}"


def _step(size: float, unit: str) -> tuple[float, str]:
    """Return the multiplier and the letter of the prefix a value of that size is shown with."""
    if unit == "ohm" and 0.1 <= size < 1:
        return 1.0, ""
    if unit == "farad" and 1e-3 <= size < 0.1:
        return 1e-6, "µ"
    fitting = [step for step in _STEPS if step[0] <= size * (1 + 1e-12)]
    return fitting[-1] if fitting else _STEPS[0]


def figures(value: float, digits: int) -> str:
    """Return a number rounded to significant figures, without exponent where it is readable so.

    Parameters
    ----------
    value : float
        Of any unit.
    digits : int
        Significant figures, 1 or more.

    Returns
    -------
    str
        ``510`` for 514 with two, where Python's format would say ``5.1e+02``.
    """
    rounded = float(f"{value:.{digits - 1}e}") + 0.0
    if rounded != 0 and not 1e-4 <= abs(rounded) < 1e6:
        return f"{rounded:.{digits}g}"
    text = f"{rounded:.10f}".rstrip("0").rstrip(".")
    return text or "0"


def show_level(volts_rms: float, given_as: str = "rms", digits: int = 3) -> str:
    """Return a level the way the technician wrote levels.

    Parameters
    ----------
    volts_rms : float
        [V rms]
    given_as : str
        ``rms``, ``pp``, ``peak``, ``dBu`` or ``plain``.
    digits : int
        Significant figures.

    Returns
    -------
    str
        ``420 mV rms``, ``1.2 Vpp``, ``600 mVpk``, ``-18.0 dBu`` or ``3.3 V``.
    """
    if given_as == "dBu":
        return show(20.0 * math.log10(volts_rms / ZERO_DBU), "dBu", digits) if volts_rms > 0 else "0 V rms"
    factor, unit = {"pp": (PP_PER_RMS, "Vpp"), "peak": (PEAK_PER_RMS, "Vpk"), "plain": (1.0, "V")}.get(
        given_as, (1.0, "V rms")
    )
    return show(volts_rms * factor, unit, digits)
