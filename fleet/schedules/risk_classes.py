"""The classes of the risk score that Benchward starts with. A hospital may change their points and words.

Labels of function, physical risk and maintenance: World Health Organization, Introduction to medical equipment
inventory management, 2011, appendix A. All points, and the labels of the incident history, are from memory until
somebody checks them against the printed table.
"""

from typing import Final, NamedTuple

from fleet.core.risk import Scale

_PRINTED: Final = "WHO, Introduction to medical equipment inventory management, 2011, appendix A; points from memory"
_HISTORY: Final = "Fennigkoh and Smith's fourth term; words and points from memory"


class RiskClassRow(NamedTuple):
    """One class of one scale. `from_memory`: its points were not read in the source."""

    scale: Scale
    label: str
    points: int
    source: str = _PRINTED
    from_memory: bool = True


CLASSES: Final = (
    RiskClassRow(Scale.FUNCTION, "Life support", 10),
    RiskClassRow(Scale.FUNCTION, "Surgical and intensive care (therapeutic)", 9),
    RiskClassRow(Scale.FUNCTION, "Physical therapy and treatment", 8),
    RiskClassRow(Scale.FUNCTION, "Surgical and intensive care monitoring", 7),
    RiskClassRow(Scale.FUNCTION, "Other physiological monitoring and diagnostic", 6),
    RiskClassRow(Scale.FUNCTION, "Analytical laboratory", 5),
    RiskClassRow(Scale.FUNCTION, "Laboratory accessories", 4),
    RiskClassRow(Scale.FUNCTION, "Computers and related", 3),
    RiskClassRow(Scale.FUNCTION, "Patient-related and other", 2),
    RiskClassRow(Scale.RISK, "Patient death", 5),
    RiskClassRow(Scale.RISK, "Patient or operator injury", 4),
    RiskClassRow(Scale.RISK, "Inappropriate therapy or misdiagnosis", 3),
    RiskClassRow(Scale.RISK, "Equipment damage", 2),
    RiskClassRow(Scale.RISK, "No significant risk", 1),
    RiskClassRow(Scale.MAINTENANCE, "Extensive: routine calibration and part replacement", 5),
    RiskClassRow(Scale.MAINTENANCE, "Above average", 4),
    RiskClassRow(Scale.MAINTENANCE, "Average: performance verification and safety test", 3),
    RiskClassRow(Scale.MAINTENANCE, "Below average", 2),
    RiskClassRow(Scale.MAINTENANCE, "Minimal: visual inspection", 1),
    RiskClassRow(Scale.HISTORY, "More than one incident in 6 months", 2, _HISTORY),
    RiskClassRow(Scale.HISTORY, "One in 6 to 9 months", 1, _HISTORY),
    RiskClassRow(Scale.HISTORY, "One in 9 to 18 months", 0, _HISTORY),
    RiskClassRow(Scale.HISTORY, "One in 18 to 30 months", -1, _HISTORY),
    RiskClassRow(Scale.HISTORY, "Less than one in 30 months", -2, _HISTORY),
)
