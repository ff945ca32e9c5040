"""What a worker does with one job: run its chain, or say in one line why it cannot."""

import time
from collections.abc import Mapping
from typing import Any

from canalwright.cohort.job import Chain, Outcome, Row


def work(ident: str, key: str, chain: str, content: Mapping[str, Any]) -> Outcome:
    """Run one tooth. Never raises for what is wrong with the tooth: it is set aside with its reason."""
    start = time.process_time()
    try:
        rows: list[Row] = _chain(chain)(ident, content)
        reason = "" if rows else "nothing came of it: no canal"
    except MemoryError:
        rows, reason = [], "ran out of memory: give the workers more (--memory)"
    except Exception as error:
        rows, reason = [], _reason(error)
    return Outcome(ident, key, tuple(rows), reason, time.process_time() - start)


def _chain(name: str) -> Chain:
    from canalwright.cohort import chain, chair_chain, check_chain, trial_chain

    return {"case": chain.run, "chair": chair_chain.run, "check": check_chain.run, "trial": trial_chain.run}[name]


def _reason(error: Exception) -> str:
    """One line; an error that is nobody's input names its class, so that it can be reported."""
    text = " ".join(str(error).split())[:400]
    expected = isinstance(error, ValueError | OSError | KeyError)
    return text if expected and text else f"{type(error).__name__}: {text} (a fault of the program; please report it)"
