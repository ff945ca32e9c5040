"""What was done at the chair with a plan: the newest session of this case, canal and choices."""

from urllib.parse import parse_qs

from canalwright import casefile
from canalwright.casefile import Case, CaseError
from canalwright.guide import Done, fold, steps_of
from canalwright.planning import Choices, Plan
from canalwright.web.chairbook import ChairbookError
from canalwright.web.choosing import from_query
from canalwright.web.office import Office

LOOKED_AT = 30
"""Sessions that are looked through, the newest first."""


def done_at_chair(office: Office, case: Case, index: int, choices: Choices, plan: Plan) -> tuple[Done, ...]:
    """The steps that were done, none where no session fits."""
    book = office.chairs.book
    for ident in book.listed()[:LOOKED_AT]:
        try:
            head, events = book.read(ident)
            same = casefile.loads(head.case, "session").digest == case.digest
        except (ChairbookError, CaseError):
            continue
        chosen = from_query(parse_qs(head.query), office.tray)
        if same and not head.practice and head.canal == index and chosen == choices:
            return fold(steps_of(plan), head.began, events).done
    return ()
