"""Recall: when to see the tooth again, what was found, and what that says of the outcome."""

from canalwright.records.recall.criteria import Judgement, Verdict, judge
from canalwright.records.recall.rules import GUIDELINE, Rule, next_due
from canalwright.records.recall.visit import Visit

__all__ = ["GUIDELINE", "Judgement", "Rule", "Verdict", "Visit", "judge", "next_due"]
