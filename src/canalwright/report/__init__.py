"""Drawings (SVG), the card (PDF) and the words of every number."""

from canalwright.report.card import card, card_pdf
from canalwright.report.options import Options
from canalwright.report.section import section_svg
from canalwright.report.text import plan_json, plan_text

__all__ = ["Options", "card", "card_pdf", "plan_json", "plan_text", "section_svg"]
