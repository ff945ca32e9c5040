"""What the next measurement of the length would add, before it is made.

In a linear model with normal errors the spread after a reading does not depend on what it will read (see `normal`), so
the gain is exact within the model. Where soundings disagree, no gain is stated: the disagreement has to be found first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from canalwright.readiness.length import Z90, Length, combination, model_of, row_of, shared_names
from canalwright.readiness.methods import Landmark, method, method_names
from canalwright.readiness.normal import Model


@dataclass(frozen=True, slots=True)
class NextStep:
    """A further reading by `method`: width of the 5-95 % interval [mm] before and after it, minutes, exposure.

    `gain` is the share (0 to 1) of the variance that it takes away, `again` true where the device was used already.
    """

    method: str
    before: float
    after: float
    gain: float
    minutes: float
    dose: bool
    again: bool


def next_steps(
    length: Length, landmark: Landmark = Landmark.CONSTRICTION, offered: Sequence[str] | None = None
) -> tuple[NextStep, ...]:
    """Each method that may come next, the greatest gain for its minutes first; none where the soundings disagree.

    `offered` names the methods at hand (all without it). A method that gains under 1 % is left out.
    """
    if not length.agrees:
        return ()
    model = model_of(length.soundings, length.tooth, length.age)
    names = shared_names(length.soundings)
    before = _width(model, landmark)
    steps = []
    for name in offered if offered is not None else method_names():
        known = method(name)
        if known.device in names:
            more, called = model, names
        else:
            more, called = _with_unknown(model), (*names, known.device)
        after = _width(more.with_reading(np.array(row_of(known, called)), known.own**2), landmark)
        gain = 1 - (after / before) ** 2
        if gain >= 0.01:
            steps.append(NextStep(name, before, after, gain, known.cost, known.dose, known.device in names))
    return tuple(sorted(steps, key=lambda s: (-s.gain / s.minutes, s.method)))


def _with_unknown(model: Model) -> Model:
    """The model with the shared error of one more device among its unknowns."""
    return replace(
        model,
        mean=np.append(model.mean, 0.0),
        variance=np.append(model.variance, 1.0),
        rows=np.column_stack([model.rows, np.zeros(len(model.rows))]),
    )


def _width(model: Model, landmark: Landmark) -> float:
    of = combination(landmark, len(model.mean))
    _, covariance = model.posterior()
    return 2 * Z90 * float(np.sqrt(of @ covariance @ of))
