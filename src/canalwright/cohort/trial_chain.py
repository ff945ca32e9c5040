"""The chain of a study: one virtual tooth, all its protocols; one row for each canal and protocol.

Quantiles of the greatest rise stand for its draws (`rise_05` ... `rise_95`); `over` is the share of the draws past the limit of
the study. `reach` tells whether the apical plugger's stop comes within the asked distance of the end, and `reach_chance` in what share of
the draws it gets there.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from canalwright import planning
from canalwright.anatomy import Canal
from canalwright.cohort.chain import head, tray_of
from canalwright.cohort.columns import finite, in_columns
from canalwright.cohort.job import Row
from canalwright.cohort.virtual import Kind, Shaping, draw_tooth
from canalwright.planning import Choices, PlanError, Trial
from canalwright.planning.trial import Known, reaches_end

QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)


def run(ident: str, content: Mapping[str, Any]) -> list[Row]:
    """Rows of one virtual tooth. Raises PlanError where no protocol can be carried out in any canal."""
    group = content["group"]
    kind = kind_of(group)
    rows: list[Row] = []
    for canal in draw_tooth(kind, content["seed"], content["number"]):
        known: dict[str | None, Known] = {}
        for arm in content["protocols"]:
            choices = Choices(**arm["choices"], draws=content["draws"], seed=content["seed"] + content["number"])
            start = {"group": group["name"], **head(canal, choices), "angle": _angle(canal), "protocol": arm["name"]}
            rows.append(start | _tried(canal, arm, choices, content, known.setdefault(arm["tray"], [])))
    return rows


def kind_of(group: Mapping[str, Any]) -> Kind:
    """The kind of tooth of a group of a study."""
    return Kind(
        group["tooth"], tuple(group["canals"]), Shaping(**group["shaping"]), group["measured_by"], group["wall_factor"]
    )  # fmt: skip


def _tried(canal: Canal, arm: Mapping[str, Any], choices: Choices, content: Mapping[str, Any], known: Known) -> Row:
    """One protocol; where it cannot be carried out in this canal, the reason alone (that too is a result)."""
    try:
        (trial,) = planning.trials(canal, tray_of(arm["tray"]), [choices], press=content["press"], known=known)
    except PlanError as error:
        return {"refused": str(error)}
    return _columns(trial, canal, content["limit"], content["within"])


def _columns(trial: Trial, canal: Canal, limit: float, within: float) -> Row:
    met, chance = reaches_end(trial, canal, within)
    apical = trial.tools.pluggers[-1]
    quantiles = np.quantile(trial.rise[1:], QUANTILES)
    row: Row = {
        "refused": None,
        "rounds": trial.rounds,
        "temperature": float(trial.temperature),
        "activation": float(trial.activation),
        "seconds": float(trial.seconds),
        "rise": float(trial.rise[0]),
        **{f"rise_{round(100 * q):02d}": float(v) for q, v in zip(QUANTILES, quantiles, strict=True)},
        "over": trial.chance_over(limit),
        "above_47": finite(float(trial.above_47[0])),
        "above_47_95": finite(float(np.quantile(trial.above_47[1:], 0.95))),
        "cem43": finite(float(trial.cem43[0])),
        "cem43_95": finite(float(np.quantile(trial.cem43[1:], 0.95))),
        "front": float(trial.front[0]),
        "plugger": apical.plugger.name,
        "stop_short": float(apical.stop - canal.end),
        "reach": bool(met),
        "reach_chance": float(chance),
        "seat_chance": trial.tools.cone.chance.value,
    }
    if trial.filled is not None:
        row |= in_columns("void", trial.filled.void) | in_columns("gutta", trial.filled.gutta)
        row |= in_columns("root_ratio", trial.filled.root_ratio)
    return row


def _angle(canal: Canal) -> float:
    """Angle between the first and the last direction of the centreline, degrees (tangent to tangent)."""
    steps = np.diff(canal.native.centre, axis=0)
    first, last = (v / max(float(np.linalg.norm(v)), 1e-12) for v in (steps[0], steps[-1]))
    return float(np.degrees(np.arccos(np.clip(first @ last, -1.0, 1.0))))
