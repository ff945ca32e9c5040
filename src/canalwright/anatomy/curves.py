"""From measured curves to arcs, filling what was not measured."""

from collections.abc import Sequence

import numpy as np

from canalwright.anatomy.averages import CanalAverages
from canalwright.anatomy.centreline import MOST_TURN, MOST_TURN_IN_TWO_PLANES, Arc, arc_from_schneider, direction
from canalwright.anatomy.limits import Fault, MeasurementError
from canalwright.anatomy.measurements import Curve
from canalwright.anatomy.provenance import error_of, source_of
from canalwright.quantities import Reading, Source


def resolve(curves: Sequence[Curve], known: CanalAverages, orifice: float) -> tuple[tuple[Arc, ...], Reading, Source]:
    """Arcs, the error of the curvature (a factor on the departure, 1 as measured) and the source.

    Without any curve the average one of this canal is taken. Raises MeasurementError when angle, radius and start
    do not go together or the curve begins above the orifice.
    """
    if not curves:
        angle = np.radians(known.angle.value)
        arc = arc_from_schneider(float(angle), known.curve_start * orifice, None, known.towards)
        spread = min(known.angle.spread / known.angle.value, 1.0)
        return (arc,), Reading(1.0, spread, "", known.angle.source, least=0.0, most=2.0), known.angle.source
    arcs = tuple(_arc("curve" if i == 0 else "curve.second", curve, known, orifice) for i, curve in enumerate(curves))
    share = (
        min(max(error_of(curve.angle, "curve") for curve in curves if curve.angle.value > 0), 1.0)
        if any(curve.angle.value > 0 for curve in curves)
        else 0.0
    )
    _turns(curves, arcs)
    source = source_of(curves[0].angle, "curve")
    return arcs, Reading(1.0, share, "", source, least=0.0, most=2.0), source


def _turns(curves: Sequence[Curve], arcs: Sequence[Arc]) -> None:
    """Raise MeasurementError for canals that turn farther than a canal can, or than two views can show."""
    parts = np.array([np.degrees(arc.angle) * np.abs(direction(arc.towards)) for arc in arcs])
    both = (parts > 0).any(axis=0).all()
    most = MOST_TURN_IN_TWO_PLANES if both else MOST_TURN
    if parts.sum(axis=0).max() > most:
        given = ", ".join(f"{curve.angle.value:g}" for curve in curves)
        allowed = f"a turn of at most {most:g} degrees" + (" in each plane" if both else "")
        action = "an angle of Schneider is about half the turn of the canal: check angle and measure"
        raise MeasurementError((Fault("curve.angle", given, allowed, action),))


def _arc(key: str, curve: Curve, known: CanalAverages, orifice: float) -> Arc:
    """One arc. A start that was not measured lies where the arc ends at the terminus, else where it is on average."""
    angle = float(np.radians(curve.angle.value))
    radius = curve.radius.value if curve.radius else None
    turn = 2 * angle if curve.measure == "schneider" else angle
    if curve.start is not None:
        start = curve.start.value
    elif radius is not None:
        start = radius * turn if curve.measure == "schneider" else max(radius * turn, known.curve_start * orifice)
    else:
        start = known.curve_start * orifice
    if angle == 0:
        return Arc(start, np.inf, 0.0, curve.towards)
    if start > orifice:
        named = f"{key}.start" if curve.start is not None else f"{key}.radius"
        given = curve.start.value if curve.start is not None else radius
        most = orifice if curve.start is not None else orifice / turn
        action = "the curve would begin above the orifice: check angle, radius and start"
        raise MeasurementError((Fault(named, f"{given:g}", f"at most {most:.1f} mm", action),))
    if curve.measure == "schneider":
        try:
            return arc_from_schneider(angle, start, radius, curve.towards)
        except ValueError as error:
            allowed = f"at most {start / (2 * angle):.1f} mm"
            raise MeasurementError((Fault(f"{key}.radius", f"{radius:g}", allowed, str(error)),)) from None
    if radius is None:
        return Arc(start, start / turn, turn, curve.towards)
    if radius * turn > start + 1e-9:
        allowed = f"at most {start / turn:.1f} mm"
        action = f"an arc of {curve.angle.value:g} degrees does not fit below its start, {start:g} mm from the terminus"
        raise MeasurementError((Fault(f"{key}.radius", f"{radius:g}", allowed, action),))
    return Arc(start, radius, turn, curve.towards)
