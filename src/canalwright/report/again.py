"""A kept plan made again from the case file and the choices that were kept with it, for its drawing."""

from canalwright import casefile, planning
from canalwright.exchange import CanalStory, Dossier, ExchangeError
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, PlanError
from canalwright.records.events import Event


def case_of(dossier: Dossier, canal: CanalStory) -> tuple[casefile.Case, int]:
    """The case file that a kept plan was made from, and the place of its canal. Raises ExchangeError when it was not kept."""
    event: Event | None = next((e for e in dossier.now if e.seq == canal.measured), None)
    text = event.field("case_file") if event else None
    if not isinstance(text, str):
        raise ExchangeError(f"plan {canal.plan_seq}: kept without its case file, so it cannot be drawn again")
    try:
        case = casefile.loads(text, f"measurement {canal.measured}")
        return case, [c.name for c in case.canals].index(canal.name)
    except (casefile.CaseError, ValueError) as error:
        raise ExchangeError(
            f"plan {canal.plan_seq}: its case file cannot be opened by this version ({error})"
        ) from None


def plan_again(dossier: Dossier, canal: CanalStory, tray: Tray, choices: Choices) -> Plan:
    """The plan of a canal made again. Raises ExchangeError."""
    case, index = case_of(dossier, canal)
    try:
        return planning.plan(case.canals[index], tray, choices)
    except PlanError as error:
        raise ExchangeError(f"plan {canal.plan_seq}: cannot be made again ({error})") from None
