"""Rules of common practice that the planner starts from; none has a better source than the trade's habit.

Each may be overridden by `Choices`; the evidence page lists them as `common practice`. Lengths mm, times s.
"""

PLUNGE_MOST = 4.0
"""Longest plunge of the carrier in one stroke (3-4 mm)."""
PLUNGE_USUAL = 3.5
PLUNGE_SPEED = 2.0
"""Speed of the plunge, mm/s."""
CLEARANCE_TO_END = 4.5
"""The downpack aims to end with the carrier this far from the end of the working length (4-5 mm)."""
REACH_TO_END = 5.0
"""The apical plugger has to come at least this close to the end of the working length."""
LEFT_BY_BITE = 0.5
"""Softened gutta-percha that stays above the carrier's stop when it is withdrawn."""
SETTLE = 0.5
"""How far a press packs the softened surface apically."""
STOP_SHORT = 1.0
"""Stops are set this short of where an instrument would bind."""
PRESS = 5.0
LAST_PRESS = 10.0
SEAR_SECONDS = 1.0
DWELL = 1.0
BURST = 0.5
"""Separation burst that frees the carrier and its bite, half a second to one."""
ACTIVATION = 3.0
ACTIVATION_RANGE = (1.0, 8.0)
TEMPERATURE = 200.0
PORTION = 3.5
"""Length of one backfill portion (3-4 mm)."""
RESOFTEN = 2.0
"""Depth of the old surface that the hot needle softens before a portion is laid on it."""
NEEDLE_SECONDS = 5.0
BELOW_POST = 5.0
"""Filling left below a post: 5 mm wanted, 4 mm is the least (Ricketts et al. 2005, Br Dent J 198:463-471)."""
BELOW_POST_LEAST = 4.0
STOP_ERROR = 0.25
"""Standard deviation of setting a rubber stop and reading it against the reference point."""
RISE_LIMIT = 10.0
"""Rise at the root surface taken as the limit, K (convention after Eriksson & Albrektsson 1983)."""
EXTRA_FORCE_SPREAD = 0.4
"""Spread of the natural logarithm of the press force: five operators 1.18-3.75 kg (Guimaraes et al. 2011)."""
CONTRACTION_ALLOWANCE = 0.04
"""Extra backfill volume for contraction on cooling: middle of the published 2-7 %."""
