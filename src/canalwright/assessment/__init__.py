"""The finished filling: what came of it, how sure that is, and how it stands to the plan.

An `Assessment` comes from a calibrated radiograph (`assessment.film`) or from two scans, before and after
(`assessment.scan`). `compare` lays it beside the plan and what was done at the chair, `habits` learns from such
residuals how far the clinician's own stops and trims land, `restoration` says what post and ferrule the root still allows.
"""

from canalwright.assessment.result import (
    Assessment,
    Beyond,
    Criterion,
    Grade,
    PortalSeen,
    Residual,
    Sight,
    StationFill,
    Void,
)

__all__ = [
    "Assessment",
    "Beyond",
    "Criterion",
    "Grade",
    "PortalSeen",
    "Residual",
    "Sight",
    "StationFill",
    "Void",
]
