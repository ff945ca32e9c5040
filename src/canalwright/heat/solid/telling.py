"""A solid story in words and as JSON; units in the keys."""

import math
from typing import Any

import numpy as np

from canalwright.heat.solid.choices import Choice
from canalwright.heat.solid.doubt import SolidDoubt
from canalwright.heat.solid.story import SolidStory

LEAVES_OUT = (
    "Leaves out: large vessels, sealer that sets, enamel, gutta-percha pressed aside into branches; "
    "perfusion does not answer to heat."
)


def as_json(story: SolidStory, sure: SolidDoubt, caution: str) -> dict[str, Any]:
    """The story's numbers, each with its 5-95 % interval."""
    worst = story.surface.hottest
    place = story.surface.position[worst]
    low, high = sure.level_interval(story.surface_level)
    return {
        "caution": caution,
        "leaves_out": LEAVES_OUT,
        "cells": story.solid.space.size,
        "steps": story.steps,
        "runs": sure.runs,
        "root_surface": {
            "rise_k": _number(sure, "rise"),
            "level_mm": {"value": story.surface_level, "low": low, "high": high},
            "direction_deg": story.surface_angle,
            "place_mm": [float(v) for v in place],
            "when_s": story.surface_time,
            "act": story.guilty + 1,
            "heated_by_act": story.heated_by + 1,
            "heated_by_act_in_runs": {str(a + 1): share for a, share in sure.acts.items()},
            "above_47_s": _number(sure, "above_47"),
            "cem43_min": _number(sure, "cem43"),
            "points_past_limits": int(story.surface.injured.sum()),
        },
        "bone": {"rise_k": _number(sure, "bone"), "peak_c": story.bone_peak, "past_limits_mm3": story.bone_volume()},
        "longest_safe_activation_s": _number(sure, "activation"),
        "shortest_safe_pause_s": _number(sure, "pause"),
        "acts": [
            {
                "act": type(a.act).__name__.lower(), "start_s": a.start, "end_s": a.end, "rise_k": a.surface_rise,
                "level_mm": a.surface_level, "soft_to_mm": a.front,
            }
            for a in story.acts
        ],
    }  # fmt: skip


def _number(sure: SolidDoubt, name: str) -> dict[str, float | None] | None:
    """A number and its interval; no end where it is infinite, nothing where it was not asked for."""
    values = getattr(sure, name)
    if len(values) == 0:
        return None
    low, high = sure.interval(name)
    return {k: v if math.isfinite(v) else None for k, v in (("value", float(values[0])), ("low", low), ("high", high))}


def as_lines(name: str, story: SolidStory, sure: SolidDoubt) -> list[str]:
    """The story for people to read; every number with its 5-95 % interval."""
    brought = story.heated_by
    by = f", brought by act {brought + 1} ({type(story.acts[brought].act).__name__.lower()})" if brought >= 0 else ""
    sectors = story.surface.by_sector(np.array([0.0, story.solid.length]), story.surface.peak_rise, 4)[0]
    out = [
        f"{name}: root surface {_told(sure, 'rise', 1)} K warmer at most (5-95 %), at z {story.surface_level:.1f} mm "
        f"({sure.levels.min():.1f} to {sure.levels.max():.1f} in {sure.runs} runs), {story.surface_angle:.0f} deg from the canal's "
        f"greatest width, at {story.surface_time:.0f} s{by}",
        "  greatest rise by side (0, 90, 180, 270 deg, each a quarter from there): "
        + ", ".join(f"{v:.1f}" for v in sectors) + " K",
        f"  at the worst point above 47 C for {_told(sure, 'above_47', 1)} s, CEM43 {_told(sure, 'cem43', 2)} min",
        f"  bone {_told(sure, 'bone', 1)} K warmer at most; {story.bone_volume():.2f} mm3 past 47 C for a minute or 16 equivalent minutes",
    ]  # fmt: skip
    if len(sure.activation):
        out.append(
            f"  longest safe activation of the deepest round {_told(sure, 'activation', 1)} s (all else as planned)"
        )
    if len(sure.pause):
        out.append(
            f"  shortest safe pause before it {_told(sure, 'pause', 0)} s (none: no pause of a minute is enough)"
        )
    return [*out, f"  {LEAVES_OUT}"]


def _told(sure: SolidDoubt, name: str, digits: int) -> str:
    low, high = sure.interval(name)
    value, low_text, high_text = (
        f"{v:.{digits}f}" if math.isfinite(v) else "none" for v in (float(getattr(sure, name)[0]), low, high)
    )
    return f"{value} ({low_text} to {high_text})"


def table_json(choices: tuple[Choice, ...]) -> list[dict[str, Any]]:
    """The what-if table as records, by the headings of the CSV."""
    from canalwright.heat.solid.choices import HEADINGS

    return [{key: getattr(c, n) for n, key in HEADINGS.items()} for c in choices]
