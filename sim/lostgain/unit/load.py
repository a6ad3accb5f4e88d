"""What hangs on a unit's output while readings are taken: plain records."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi


@dataclass(frozen=True)
class Loudspeaker:
    """A loudspeaker's electrical equivalent: voice coil in series with its mechanical resonance [1]_.

    Parameters
    ----------
    title : str
    nominal : float
        Rated impedance [ohm]: what watts are reckoned with.
    re : float
        Resistance of the voice coil at DC [ohm].
    le : float
        Inductance of the voice coil [H].
    fs : float
        Resonance in the box it is in [Hz].
    qms, qes : float
        Mechanical and electrical Q at resonance.

    References
    ----------
    .. [1] R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng. Soc. 20 (1972): the parallel
       resonant circuit behind R_E, with R_ES = R_E Q_MS / Q_ES, C_MES = Q_ES / (2 pi f_S R_E) and
       L_CES = R_E / (2 pi f_S Q_ES).
    """

    title: str
    nominal: float
    re: float
    le: float
    fs: float
    qms: float
    qes: float

    @property
    def res(self) -> float:
        """Resistance of the resonant circuit [ohm]: the friction of suspension and air."""
        return self.re * self.qms / self.qes

    @property
    def cmes(self) -> float:
        """Capacitance of the resonant circuit [F]: the moving mass."""
        return self.qes / (2 * pi * self.fs * self.re)

    @property
    def lces(self) -> float:
        """Inductance of the resonant circuit [H]: the compliance of suspension and box."""
        return self.re / (2 * pi * self.fs * self.qes)


@dataclass(frozen=True)
class Load:
    """What hangs on an output.

    Parameters
    ----------
    text : str
        For people: ``8 Ω``, ``8 Ω with 100 nF across``, ``none``.
    ohms : float or None
        The dummy load's resistance, or a loudspeaker's rated impedance [ohm]; None where nothing takes watts.
    farads : float
        Capacitance across the output [F]: a cable's, or a test load's.
    speaker : Loudspeaker or None
    """

    text: str = "none"
    ohms: float | None = None
    farads: float = 0.0
    speaker: Loudspeaker | None = None

    @property
    def is_open(self) -> bool:
        """True where nothing hangs on the output."""
        return self.ohms is None and not self.farads


OPEN = Load()
