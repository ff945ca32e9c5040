"""A solid story in words and as JSON; units in the keys."""

from typing import Any

import numpy as np

from canalwright.heat.solid.choices import Choice
from canalwright.heat.solid.story import SolidStory

LEAVES_OUT = (
    "Leaves out: large vessels, sealer that sets, enamel, gutta-percha pressed aside into branches; "
    "perfusion does not answer to heat."
)


def as_json(story: SolidStory, factor: tuple[float, float], caution: str) -> dict[str, Any]:
    """The story's numbers; `factor`: 5th and 95th percentile of the rise over its nominal value."""
    worst, rise = story.surface.hottest, story.surface_rise
    place = story.surface.position[worst]
    return {
        "caution": caution,
        "leaves_out": LEAVES_OUT,
        "cells": story.solid.space.size,
        "steps": story.steps,
        "root_surface": {
            "rise_k": {"value": rise, "low": rise * factor[0], "high": rise * factor[1]},
            "level_mm": story.surface_level,
            "direction_deg": story.surface_angle,
            "place_mm": [float(v) for v in place],
            "when_s": story.surface_time,
            "act": story.guilty + 1,
            "heated_by_act": story.heated_by + 1,
            "above_47_s": float(story.surface.above_47.max()),
            "cem43_min": float(story.surface.cem43.max()),
            "points_past_limits": int(story.surface.injured.sum()),
        },
        "bone": {"peak_c": story.bone_peak, "past_limits_mm3": story.bone_volume()},
        "acts": [
            {
                "act": type(a.act).__name__.lower(), "start_s": a.start, "end_s": a.end, "rise_k": a.surface_rise,
                "level_mm": a.surface_level, "soft_to_mm": a.front,
            }
            for a in story.acts
        ],
    }  # fmt: skip


def as_lines(name: str, story: SolidStory, factor: tuple[float, float]) -> list[str]:
    """The story for people to read."""
    rise, brought = story.surface_rise, story.heated_by
    by = f", brought by act {brought + 1} ({type(story.acts[brought].act).__name__.lower()})" if brought >= 0 else ""
    sectors = story.surface.by_sector(np.array([0.0, story.solid.length]), story.surface.peak_rise, 4)[0]
    return [
        f"{name}: root surface {rise:.1f} K warmer at most (5-95 %: {rise * factor[0]:.1f} to {rise * factor[1]:.1f}), at z "
        f"{story.surface_level:.1f} mm, {story.surface_angle:.0f} deg from the canal's greatest width, at {story.surface_time:.0f} s{by}",
        "  greatest rise by side (0, 90, 180, 270 deg, each a quarter from there): "
        + ", ".join(f"{v:.1f}" for v in sectors) + " K",
        f"  bone at most {story.bone_peak:.1f} C; {story.bone_volume():.2f} mm3 past 47 C for a minute or 16 equivalent minutes",
        f"  {LEAVES_OUT}",
    ]  # fmt: skip


def table_json(choices: tuple[Choice, ...]) -> list[dict[str, Any]]:
    """The what-if table as records, by the headings of the CSV."""
    from canalwright.heat.solid.choices import HEADINGS

    return [{key: getattr(c, n) for n, key in HEADINGS.items()} for c in choices]
