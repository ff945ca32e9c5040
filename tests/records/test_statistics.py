"""Protects: the statistics equal lifelines, statsmodels and published worked examples, and small numbers are refused."""

import csv
import io
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.records.errors import BadEntry, TooFew
from canalwright.records.outcomes import aalen_johansen, cox, kaplan_meier, kappa, log_rank, odds_ratio, wilson
from canalwright.records.outcomes.agreement import kappa_of
from canalwright.records.outcomes.proportions import shown
from canalwright.records.outcomes.tables import curve_csv, write_csv

RNG = np.random.default_rng(7)
TIMES = np.round(RNG.exponential(20, 150), 0) + 1
CAUSES = RNG.integers(0, 3, 150)


def test_kaplan_meier_equals_lifelines() -> None:
    """With many ties: survival and its interval on the log(-log) scale, to 1e-10."""
    from lifelines import KaplanMeierFitter

    ours = kaplan_meier(TIMES.tolist(), (CAUSES > 0).tolist())
    theirs = KaplanMeierFitter().fit(TIMES, CAUSES > 0)
    at = np.array(ours.times)
    assert np.allclose(ours.value, theirs.survival_function_.loc[at].iloc[:, 0], atol=1e-10)
    inside = np.array(ours.value) > 0
    interval = theirs.confidence_interval_.loc[at].to_numpy()
    assert np.allclose(np.array(ours.low)[inside], interval[inside, 0], atol=1e-10)
    assert np.allclose(np.array(ours.high)[inside], interval[inside, 1], atol=1e-10)
    assert ours.median == theirs.median_survival_time_


def test_aalen_johansen_equals_lifelines() -> None:
    """Times without ties, since lifelines shakes ties apart at random: incidence to 1e-12, variance to 1e-9."""
    from lifelines import AalenJohansenFitter

    times = RNG.permutation(np.arange(1.0, 151.0))
    ours = aalen_johansen(times.tolist(), CAUSES.tolist())
    theirs = AalenJohansenFitter(calculate_variance=True).fit(times, CAUSES, 1)
    at = np.array(ours.times)
    assert np.allclose(ours.value, theirs.cumulative_density_.loc[at].iloc[:, 0], atol=1e-12)
    variance = theirs.variance_.loc[at].to_numpy().ravel()
    defined = np.isfinite(variance)  # theirs divides by zero where the last one at risk has the event
    assert defined.sum() >= len(variance) - 1
    assert np.allclose(np.array(ours.error)[defined] ** 2, variance[defined], atol=1e-9)


def test_aalen_johansen_equals_statsmodels_with_ties() -> None:
    from statsmodels.duration.survfunc import CumIncidenceRight

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = CumIncidenceRight(TIMES, CAUSES)
    ours = aalen_johansen(TIMES.tolist(), CAUSES.tolist(), 2)
    every = np.searchsorted(theirs.times, ours.times)
    assert np.allclose(ours.value, theirs.cinc[1][every], atol=1e-12)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 2)), min_size=20, max_size=80))
def test_incidences_and_survival_make_one(rows: list[tuple[int, int]]) -> None:
    """At every time: free of any event + event 1 + event 2 = 1; curves go one way and stay in their intervals."""
    times, causes = [float(t) for t, _ in rows], [c for _, c in rows]
    if not any(causes):
        return
    free = kaplan_meier(times, [c > 0 for c in causes])
    one, two = (aalen_johansen(times, causes, k) for k in (1, 2))
    assert np.allclose(np.array(free.value) + one.value + two.value, 1, atol=1e-12)
    for curve in (free, one, two):
        value, low, high = np.array(curve.value), np.array(curve.low), np.array(curve.high)
        assert (low <= value + 1e-12).all() and (value <= high + 1e-12).all()
        assert (low >= 0).all() and (high <= 1).all() and np.isfinite(curve.error).all()
    assert (np.diff(free.value) <= 1e-12).all() and (np.diff(one.value) >= -1e-12).all()


def test_log_rank_equals_statsmodels() -> None:
    from statsmodels.duration.survfunc import survdiff

    group = RNG.integers(0, 2, 150)
    a, b = ((TIMES[group == g].tolist(), (CAUSES[group == g] > 0).tolist()) for g in (0, 1))
    ours = log_rank(a, b)
    chi2, p = survdiff(TIMES, CAUSES > 0, group)
    assert (ours.chi2, ours.p) == pytest.approx((chi2, p), rel=1e-9)
    assert log_rank(b, a).chi2 == pytest.approx(ours.chi2, rel=1e-9)


def _cox_data(ties: bool):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(3)
    n = 240
    patients = rng.integers(0, 80, n)
    x = np.column_stack([rng.normal(size=n) * 5, rng.integers(0, 2, n)])
    times = rng.exponential(np.exp(-(0.1 * x[:, 0] + 0.8 * x[:, 1] + rng.normal(size=80)[patients]))) * 30 + 0.5
    happened = rng.random(n) < 0.6
    return (np.ceil(times) if ties else times), happened, x, patients


@pytest.mark.parametrize(("ties", "tolerance"), [(False, 1e-5), (True, 0.03)])
def test_cox_equals_lifelines(ties: bool, tolerance: float) -> None:
    """Ratios to 1e-5; clustered errors to 1e-5 without ties. With ties the residuals follow another rule: within 3 %."""
    import pandas as pd
    from lifelines import CoxPHFitter

    times, happened, x, patients = _cox_data(ties)
    ours = cox(times.tolist(), happened.tolist(), {"a": x[:, 0], "b": x[:, 1]}, [str(p) for p in patients])
    frame = pd.DataFrame({"t": times, "d": happened, "a": x[:, 0], "b": x[:, 1], "p": patients})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = CoxPHFitter().fit(frame, "t", "d", cluster_col="p", fit_options={"precision": 1e-10})
    assert [h.log for h in ours.hazards] == pytest.approx(theirs.params_.to_list(), abs=1e-5)
    assert [h.error for h in ours.hazards] == pytest.approx(theirs.standard_errors_.to_list(), rel=tolerance)
    assert (ours.cases, ours.events) == (240, int(happened.sum()))


def test_cox_refuses_what_it_cannot_carry() -> None:
    times, happened, x, patients = _cox_data(False)
    names = [str(p) for p in patients]
    with pytest.raises(TooFew, match="events carry too little"):
        cox(times.tolist(), [i < 15 for i in range(240)], {"a": x[:, 0], "b": x[:, 1]}, names)
    with pytest.raises(TooFew, match="patients are too few"):
        cox(times.tolist(), happened.tolist(), {"a": x[:, 0]}, ["one"] * 240)
    for bad in ({"a": np.ones(240)}, {"a": x[:, 0], "b": 2 * x[:, 0]}, {}):
        with pytest.raises(BadEntry, match="always the same"):
            cox(times.tolist(), happened.tolist(), bad, names)
    with pytest.raises(BadEntry, match="parts the cases"):
        parted = [float(t < np.median(times)) for t in times]
        cox(times.tolist(), [bool(p) for p in parted], {"a": parted}, names)


@settings(deadline=None)
@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.booleans())
def test_wilson_interval(case: tuple[int, int], corrected: bool) -> None:
    """Holds the proportion, stays within 0 and 1, mirrors, is wider with the correction, equals statsmodels without."""
    from statsmodels.stats.proportion import proportion_confint

    count, of = case
    found = wilson(count, of, corrected=corrected)
    mirror = wilson(of - count, of, corrected=corrected)
    assert 0 <= found.low <= found.value <= found.high <= 1
    assert (mirror.low, mirror.high) == pytest.approx((1 - found.high, 1 - found.low), abs=1e-12)
    plain = wilson(count, of)
    assert plain.high - plain.low <= found.high - found.low + 1e-12
    assert (plain.low, plain.high) == pytest.approx(proportion_confint(count, of, method="wilson"), abs=1e-12)


def test_odds_ratio_equals_statsmodels() -> None:
    from statsmodels.stats.contingency_tables import Table2x2

    found = odds_ratio(75, 5, 11, 6)
    theirs = Table2x2([[75, 5], [11, 6]])
    assert (found.value, found.low, found.high) == pytest.approx((theirs.oddsratio, *theirs.oddsratio_confint()))
    assert odds_ratio(10, 0, 5, 5).corrected
    with pytest.raises(BadEntry):
        odds_ratio(0, 0, 1, 1)


def test_kappa_equals_scikit_learns_definition() -> None:
    """Weighted kappa by its definition, 1 - sum(w o)/sum(w e), on grades 1 to 5."""
    a, b = RNG.integers(1, 6, 60), RNG.integers(1, 6, 60)
    for weights, power in (("linear", 1), ("quadratic", 2)):
        w = np.abs(np.subtract.outer(np.arange(5), np.arange(5))) ** power
        o = np.zeros((5, 5))
        np.add.at(o, (a - 1, b - 1), 1 / 60)
        expected = 1 - (w * o).sum() / (w * np.outer(o.sum(1), o.sum(0))).sum()
        assert kappa(a.tolist(), b.tolist(), weights).value == pytest.approx(expected)  # type: ignore[arg-type]
    with pytest.raises(TooFew):
        kappa([1] * 5, [1] * 5)
    with pytest.raises(TooFew, match="alike"):
        kappa([1] * 30, [1] * 30)
    with pytest.raises(BadEntry):
        kappa([6] * 30, [1] * 30)
    with pytest.raises(BadEntry):
        kappa_of([[1, 2, 3]])


def test_small_numbers_are_refused_not_plotted() -> None:
    with pytest.raises(TooFew, match="at least 20") as caught:
        kaplan_meier([1.0] * 19, [True] * 19)
    assert (caught.value.have, caught.value.need) == (19, 20)
    with pytest.raises(TooFew):
        shown(9, 9)
    with pytest.raises(TooFew):
        log_rank(([1.0], [False]), ([1.0], [False]))
    for bad in ([-1.0] * 20, [float("nan")] * 20):
        with pytest.raises(BadEntry):
            kaplan_meier(bad, [True] * 20)
    with pytest.raises(BadEntry):
        wilson(3, 2)
    with pytest.raises(BadEntry):
        wilson(1, 2, level=1.5)


def test_curve_is_written_only_while_five_are_at_risk() -> None:
    curve = kaplan_meier([float(i) for i in range(1, 31)], [True] * 30)
    rows = list(csv.reader(io.StringIO(curve_csv(curve))))
    assert rows[-1][0] == "26.0" and rows[-1][4] == "5"


def test_table_starts_no_formula() -> None:
    written = write_csv(["=1+1"], [["@x", -1.5, "+1", "plain", "a,b"]])
    assert written == "'=1+1\r\n'@x,-1.5,'+1,plain,\"a,b\"\r\n"
