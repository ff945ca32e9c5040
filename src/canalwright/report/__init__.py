"""Drawings (SVG), the card (PDF) and the words of every number.

section_svg(plan)                              the longitudinal section with its ruler
section_svg(plan, moment=Moment.of(plan, story, 12.0))   the same at a moment of the simulation
heat_svg(plan, story), rise_svg(plan, story)         temperatures over time, greatest rise by depth
card(plan, story, "card.pdf"), card_pdf(plan, story)     the one page for the chair
plan_text(plan), plan_json(plan), sheet(plan)            words and numbers
ready_text(canal, readiness), ready_json(readiness)      the verdict before the filling
"""

from canalwright.report.card import card, card_pdf
from canalwright.report.moment import Moment
from canalwright.report.options import Options
from canalwright.report.palette import DARK, ISO_3630, LIGHT, Palette
from canalwright.report.pictures import heat_svg, rise_svg
from canalwright.report.ready import ready_json, ready_text
from canalwright.report.section import section_svg
from canalwright.report.telling import story_json, story_text
from canalwright.report.text import digest, plan_json, plan_text
from canalwright.report.words import Item, Sheet, Table, finding_words, sheet

__all__ = [
    "DARK",
    "ISO_3630",
    "LIGHT",
    "Item",
    "Moment",
    "Options",
    "Palette",
    "Sheet",
    "Table",
    "card",
    "card_pdf",
    "digest",
    "finding_words",
    "heat_svg",
    "plan_json",
    "plan_text",
    "ready_json",
    "ready_text",
    "rise_svg",
    "section_svg",
    "sheet",
    "story_json",
    "story_text",
]
