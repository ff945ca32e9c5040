"""What the recalls teach: rows of cases, proportions, curves, models, charts, beside published figures."""

from canalwright.records.outcomes.agreement import Kappa, kappa
from canalwright.records.outcomes.cases import CaseOutcome, outcomes_of
from canalwright.records.outcomes.cox import CoxModel, cox
from canalwright.records.outcomes.process import Chart, chart
from canalwright.records.outcomes.proportions import OddsRatio, Proportion, odds_ratio, wilson
from canalwright.records.outcomes.published import Published, published
from canalwright.records.outcomes.summary import Summary, summarise
from canalwright.records.outcomes.survival import Curve, LogRank, aalen_johansen, kaplan_meier, log_rank

__all__ = [
    "CaseOutcome",
    "Chart",
    "CoxModel",
    "Curve",
    "Kappa",
    "LogRank",
    "OddsRatio",
    "Proportion",
    "Published",
    "Summary",
    "aalen_johansen",
    "chart",
    "cox",
    "kaplan_meier",
    "kappa",
    "log_rank",
    "odds_ratio",
    "outcomes_of",
    "published",
    "summarise",
    "wilson",
]
