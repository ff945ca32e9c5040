"""Which errors are the input's, and how they are told."""

import sys

BAD_INPUT = 2
DANGEROUS = 3


def bad_input_errors() -> tuple[type[Exception], ...]:
    """The error classes that mean bad input; imported only once something went wrong."""
    from canalwright.anatomy import MeasurementError
    from canalwright.casefile import CaseError
    from canalwright.cohort.job import CohortError
    from canalwright.exchange.errors import ExchangeError
    from canalwright.imaging.errors import ImagingError
    from canalwright.planning import PlanError
    from canalwright.records.errors import RecordsError
    from canalwright.report.wording import WordingError

    ours = (
        CaseError,
        CohortError,
        ExchangeError,
        MeasurementError,
        ImagingError,
        PlanError,
        RecordsError,
        WordingError,
    )
    return (*ours, OSError)


def explain(error: Exception) -> None:
    """One line per fault on standard error."""
    text = str(error) or type(error).__name__
    if isinstance(error, OSError):
        text = (
            f"{error.filename}: {error.strerror}; check the path and that you may write there"
            if error.filename
            else text
        )
    print(f"canalwright: {text}", file=sys.stderr)  # noqa: T201
