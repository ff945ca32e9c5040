"""Which findings of a plan stand on which act: those of caution and danger that speak of its instrument or of what is done there."""

from canalwright.guide.steps import Step
from canalwright.planning import Finding, Harm, Plan
from canalwright.protocol import Bite

TRY = frozenset({"cone-loose", "cone-beyond"})
"""What the try-in has to answer; so has whatever the verdict before the cone left open."""
HEAT = frozenset({"surface-too-hot", "surface-may-heat", "thermal-dose", "activation-too-long"})
LAST_HEAT = frozenset({"carrier-out-of-reach", "end-stays-cold"})
PRESS = frozenset({"wall-cut-through", "thin-wall", "root-stress", "beyond-the-terminus"})
ROUND = frozenset({"press-out-of-reach"})
BINDS = frozenset({"plugger-may-bind"})
FILL = frozenset({"no-needle"})


def concerning(plan: Plan, step: Step, *, trying: bool, rounds: int | None = None) -> tuple[Finding, ...]:
    """Findings of caution or danger that concern this act (the try-in of its cone where `trying`), the most harmful first; `rounds`: how
    many there are by now, where these are not those of the plan."""
    last = rounds or len(plan.rounds)
    return tuple(f for f in plan.findings if f.harm >= Harm.CAUTION and _concerns(plan, step, f, trying, last))


def _concerns(plan: Plan, step: Step, finding: Finding, trying: bool, last: int) -> bool:
    code = finding.code
    if trying:
        return code in TRY or code.startswith("readiness-")
    match step.kind:
        case "place":
            return code in TRY
        case "heat":
            return code in HEAT or (code in LAST_HEAT and step.number == last)
        case "press":
            named = f" {step.tool} " in f" {finding.message} "
            downpack = isinstance(plan.protocol.acts[step.act - 1], Bite)
            this = downpack and not step.anew and f"in round {step.number} " in finding.message
            return code in PRESS or (code in BINDS and named) or (code in ROUND and this)
        case "inject":
            return code in FILL
    return False
