"""The grouped model with an unspecified baseline: hazards free to jump anywhere.

No pieces are chosen: the baseline is whatever makes the records most likely, jumps on
the innermost intervals of the risk intervals (``survivor.models.innermost``), shared by
the strata up to a level each. With visits shared by all it is the model with a piece
between each two visits; without terms it is Turnbull's curve.

Sources: Finkelstein (1986), Biometrics 42, 845-854 (the model, and observed information
with the jumps that are zero held there); Zeng, Mao and Lin (2016), Biometrika 103,
253-271 (why the terms have normal limits all the same).

Survival under an unspecified baseline, and its limits.

Between the ends of an innermost interval in which the hazard jumps, survival falls by
an unknown path: a day inside one is refused. A fit without one cluster may leave open
what the whole fit tells; there the jump is spread evenly over its interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import log_ways, row_codes, sum_by
from survivor.limits import Errors, floored
from survivor.models.cells import strata_with_hazard
from survivor.models.clusters import WaldTest, share_informed, squared_length
from survivor.models.design import Design, build_design, independent_columns, refuse_aliased
from survivor.models.fitted import Estimates
from survivor.models.innermost import Innermost, Watched, innermost_of
from survivor.models.jackknife import Deletions, groups_of
from survivor.models.paths import refuse_paths
from survivor.models.result import Fit, FitParts, coefficient_table, floored_terms
from survivor.models.separation import refuse_no_deaths, said_of_levels, separation
from survivor.models.unspecified_solver import Fitted, maximise_profile, problem_of
from survivor.words import term_words

_DUST = 1e-9  # a jump below this share of all determines nothing
_LARGEST = 700.0


@dataclass(frozen=True)
class Baseline:
    """A baseline with levels and terms.

    Attributes
    ----------
    left, right, jumps
        Innermost intervals and the share of the whole hazard in each, shape (J,).
    endless
        Intervals in which all who were left died, shape (E, 2).
    level
        Log of the whole hazard of each stratum at ``centre``, shape (S,).
    beta, centre
        Coefficients, shape (q,), and where the columns are centred in each stratum, shape (S, q).
    loose, held_at
        Columns of which nothing is known, and the value at which the rest of the rows hold them.
    """

    left: Floats
    right: Floats
    jumps: Floats
    endless: Floats
    level: Floats
    beta: Floats
    centre: Floats
    loose: Codes
    held_at: Floats

    @classmethod
    def of(cls, whole: Innermost, fitted: Fitted, strata: int, centre: Floats) -> Baseline:
        """Take apart what was fitted."""
        size = float(fitted.jumps.sum())
        level = np.concatenate([[0.0], fitted.theta[: strata - 1]]) + np.log(size)
        none = np.empty(0, dtype=np.intp)
        return cls(
            whole.left,
            whole.right,
            fitted.jumps / size,
            whole.endless,
            level,
            fitted.theta[strata - 1 :],
            centre,
            none,
            np.empty((1, 0)),
        )

    def centred(self, columns: Floats, place: Codes) -> Floats:
        """Columns less the centre of their stratum; 0 where nobody, or everybody, died (-1, -2)."""
        return np.where((place >= 0)[:, None], columns - self.centre[place], 0.0)

    def spread(self, level: Floats, beta: Floats, centre: Floats, loose: Codes, rows: Floats) -> Baseline:
        """Give back strata and columns that the fit was made without."""
        return replace(self, level=level, beta=beta, centre=centre, loose=loose, held_at=rows[:, loose])

    def cumulative(self, at: float) -> float:
        """Share of the hazard up to a day; infinite once all have died."""
        if (self.endless[:, 0] < at).any():
            done = self.endless[:, 1] <= at
            return np.inf if done.any() else float(self.jumps.sum())
        share = np.clip((at - self.left) / (self.right - self.left), 0.0, 1.0)
        return float(self.jumps @ share)

    def open_at(self, at: float) -> tuple[float, float] | None:
        """Interval around a day within which survival falls by an unknown path."""
        some = self.jumps > _DUST
        ends = [*zip(self.left[some], self.right[some], strict=True), *self.endless]
        return next(((float(a), float(b)) for a, b in ends if a < at < b), None)

    def excess(self, rows: Watched) -> float:
        """Largest gain of a further jump on any day at all over its cost, less 1."""
        for _, end in self.endless:
            rows = rows.pick(~((rows.start < end) & (end <= rows.stop)))
        reached = np.concatenate([[0.0], np.cumsum(self.jumps)])
        inside = (
            reached[np.searchsorted(self.right, rows.stop, side="right")]
            - reached[np.searchsorted(self.right, rows.start, side="right")]
        )
        relative = np.exp(self.level[rows.stratum] + self.centred(rows.columns, rows.stratum) @ self.beta)
        hazard = np.clip(relative * inside, 1e-300, _LARGEST)
        died = np.where(rows.died > 0, rows.died / np.expm1(hazard), 0.0)
        days = np.unique(np.concatenate([rows.start, rows.stop]))
        start, stop = np.searchsorted(days, rows.start), np.searchsorted(days, rows.stop)

        def over(shares: Floats) -> Floats:
            steps = np.bincount(start, shares, len(days)) - np.bincount(stop, shares, len(days))
            return np.asarray(np.cumsum(steps)[:-1])

        gain, cost = over(died * relative), over((rows.at_risk - rows.died) * relative)
        some = over(rows.died) > 0.5 * rows.died[rows.died > 0].min(initial=np.inf)
        return float((gain[some] / cost[some]).max(initial=1.0)) - 1.0


@dataclass(frozen=True)
class Refits:
    """The fits without each cluster, the rows of the whole one and its information."""

    deletions: Deletions
    each: tuple[Baseline, ...]
    rows: Watched
    fitted: Fitted


@dataclass(frozen=True)
class _Cells:
    """Cells read for one day: ``columns`` (n, q), ``place`` (n,) as in the engine, ``weights`` (m, n)."""

    columns: Floats
    place: Codes
    weights: Floats
    at: float

    def hazard(self, base: Baseline) -> Floats:
        """Cumulative hazard of each cell; 0 where nobody died, infinite where all did."""
        level = np.where(self.place >= 0, base.level[np.maximum(self.place, 0)], -np.inf)
        level = np.where(self.place == -2, np.inf, level)
        reached = base.cumulative(self.at)
        relative = np.exp(level + base.centred(self.columns, self.place) @ base.beta)
        if np.isinf(reached):
            return np.where(self.place == -1, 0.0, np.inf)
        return relative * reached if reached > 0 else np.where(self.place == -2, np.inf, 0.0)

    def averages(self, base: Baseline) -> Floats:
        """Weighted sums of survival, shape (m,); NaN where they rest on a column that is not known."""
        sums: Floats = self.weights @ np.exp(-self.hazard(base))
        if len(base.loose):
            columns, held = self.columns[:, base.loose], base.held_at
            same = 1e-9 * np.maximum(np.abs(columns).max(axis=0), np.abs(held))
            astray = (np.abs(columns - held) > same).any(axis=1)
            sums = np.where((np.abs(self.weights) * astray).sum(axis=1) > 0, np.nan, sums)
        return sums


@dataclass(frozen=True)
class UnspecifiedEngine:
    """A fit with an unspecified baseline for ``Fit``.

    Attributes
    ----------
    place
        Level of each stratum of the design, -1 nobody died there, -2 everybody did.
    refits
        None where rows are independent.
    """

    design: Design
    place: Codes
    baseline: Baseline
    fitted: Fitted
    refits: Refits | None

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; see ``Fit.average_survival``.

        Raises
        ------
        ModelError
            When ``at`` lies inside an innermost interval, where survival is not determined.
        """
        read = self._read(cells, weights, at)
        estimate = read.averages(self.baseline)
        slopes = self._slopes(read)
        working = slopes @ self.fitted.inverse @ slopes.T
        if self.refits is None:
            return Estimates(estimate, working, np.full(len(estimate), np.inf))
        change = self._changes(self.refits, read, estimate)
        change = change / np.sqrt(self._informed(self.refits, slopes))
        df = np.where(np.isnan(change).any(axis=0), np.nan, self.refits.deletions.groups.df_average)
        return Estimates.of(estimate, floored(change.T @ change, df, working))

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places, as for the Cox model."""
        places, count, beta = list(terms), len(terms), self.baseline.beta
        independent = self.fitted.of_terms(len(beta))
        if self.refits is not None:
            return self.refits.deletions.wald(places, beta, independent)
        quadratic = squared_length(beta[places], independent[np.ix_(places, places)])
        return WaldTest(quadratic / count, count, np.inf, float(stats.chi2.sf(quadratic, count)))

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations of the coefficients rest on."""
        independent = self.fitted.of_terms(len(self.baseline.beta))
        if self.refits is not None:
            return self.refits.deletions.of_sums(picks, self.baseline.beta, independent)
        count = len(picks)
        return Errors(picks @ independent @ picks.T, np.full(count, np.inf), np.zeros(count, dtype=bool))

    def _read(self, cells: pd.DataFrame, weights: Floats, at: float) -> _Cells:
        refuse_paths(cells, "an unspecified baseline")
        between = self.baseline.open_at(at)
        if between is not None:
            raise ModelError(
                f"survival on day {at:g} is not determined: it falls somewhere between days {between[0]:g} "
                f"and {between[1]:g}",
                where="at",
                mend=f'ask for day {between[0]:g} or {between[1]:g}, or fit with baseline="pieces"',
            )
        place = self.place[self.design.strata_for(cells)]
        return _Cells(self.design.columns_for(cells), place, weights, at)

    def _slopes(self, read: _Cells) -> Floats:
        """Differentiate each average in the jumps held, the levels after the first and the terms."""
        base, held = self.baseline, self.fitted.held
        hazard = read.hazard(base)
        live = (read.place >= 0) & np.isfinite(hazard)
        hazard = np.where(live, hazard, 0.0)
        pull = -read.weights * np.where(live, np.exp(-hazard), 0.0)
        levels = (read.place[:, None] == np.arange(1, len(base.level))).astype(float)
        common = np.hstack([levels, base.centred(read.columns, read.place)]) * hazard[:, None]
        jumped = base.right[held] <= read.at
        reached = base.cumulative(read.at)
        # Hazard per unit of jump: in the units of the solver, whose jumps are not shares.
        unit = hazard / reached / self.fitted.jumps.sum() if 0 < reached < np.inf else np.zeros(len(hazard))
        return np.hstack([(pull @ unit)[:, None] * jumped, pull @ common])

    def _changes(self, refits: Refits, read: _Cells, estimate: Floats) -> Floats:
        """Scaled change of each average when each cluster is left out, shape (G, m)."""
        groups = refits.deletions.groups
        change = np.array([read.averages(each) for each in refits.each]) - estimate
        inside = np.zeros_like(change)
        if groups.within.any():
            for cluster, beta in enumerate(refits.deletions.beta):
                moved = replace(self.baseline, beta=np.where(groups.within, beta, self.baseline.beta))
                inside[cluster] = read.averages(moved) - estimate
        return groups.scaled(change, inside)

    def _informed(self, refits: Refits, slopes: Floats) -> Floats:
        """Share of each average's variance that clusters tell of; NaN where it is small."""
        lonely = np.unique(refits.rows.stratum[refits.deletions.groups.alone[refits.rows.cluster]])
        if not len(lonely):
            return np.ones(len(slopes))
        if 0 in lonely:  # the stratum with most clusters, so every other has one as well
            return np.full(len(slopes), np.nan)
        inverse = self.fitted.inverse
        places = len(self.fitted.held) + lonely - 1
        through = slopes @ inverse[:, places]
        lost = np.einsum("ml,ml->m", through @ np.linalg.pinv(inverse[np.ix_(places, places)]), through)
        whole = np.einsum("mp,mp->m", slopes @ inverse, slopes)
        return share_informed(lost, whole)


_MOST_REFITS = 2000


def fit_unspecified(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> Fit:
    """Fit the grouped model with an unspecified baseline; see ``survivor.fit`` for the parameters.

    Limits come from the delete-one-cluster jackknife, counted as for the Cox model
    (``survivor.models.jackknife``); with ``cluster=None`` from the curvature of the
    profile likelihood (``variance`` is then ``profile``). ``checks`` says how far a jump
    anywhere could still raise the likelihood. Survival inside an innermost interval is
    not determined and not given.
    """
    refuse_no_deaths(frame["died"], "grouped model")
    design = build_design(frame, formula, strata, cluster)
    place, checks = strata_with_hazard(design, frame)
    place = _fullest_first(design, frame["died"].to_numpy(float), place)
    levels = int(place.max()) + 1
    used = np.flatnonzero(place[design.strata_codes] >= 0)
    rows = _watched(frame, design, place, used)
    refuse_aliased(rows.columns, design.terms, rows.stratum, design.against())
    _refuse_separated(rows, frame.iloc[used], design)
    # Levels take up what lies between strata, so that none has to go far to make up for its columns.
    centre = np.array([rows.columns[rows.stratum == level].mean(axis=0) for level in range(levels)])
    whole = innermost_of(rows)
    problem = problem_of(whole, levels, centre)
    if not whole.rows.died.sum():
        raise ModelError(
            "wherever seedlings died, all that were left died, so no hazard can be told",
            where="grouped model",
            mend="read the survival from the curves",
        )
    theta = np.zeros(problem.terms.shape[1])
    fitted = maximise_profile(problem, theta)
    astray = fitted.divergent[fitted.divergent >= problem.levels] - problem.levels
    if len(astray):
        raise _diverged([design.terms[at] for at in astray])
    baseline = Baseline.of(whole, fitted, levels, centre)
    checks += _said(whole, fitted, baseline, rows)
    checks += [
        f"{' / '.join(design.strata_levels[place == at + 1].astype(str).iloc[0])} has no finite level, since "
        "deaths there came when nothing else was watched"
        for at in fitted.divergent
    ]
    terms = len(design.terms)
    refits: Refits | None = None
    independent = fitted.of_terms(terms)
    if cluster is None:
        variance = "profile"
        errors = Errors(independent, np.full(terms, np.inf), np.zeros(terms, dtype=bool))
        checks.append("standard errors by the curvature of the profile likelihood, rows independent")
    else:
        refits = _refit(rows, baseline, fitted)
        variance, errors = "jackknife", refits.deletions.errors(baseline.beta, independent)
        of_strata = f"{'/'.join(design.strata)} levels" if design.strata else "for the baseline"
        checks += refits.deletions.said(design.terms, design.cluster[-1], of_strata)
    engine = UnspecifiedEngine(design, place, baseline, fitted, refits)
    kinds = errors.kinds(variance)
    table = coefficient_table(design.terms, baseline.beta, errors.std_error, errors.df, kinds, "hazard_ratio")
    counted = rows if design.cluster else frame.iloc[used]
    constant = log_ways(np.asarray(counted.at_risk, dtype=float), np.asarray(counted.died, dtype=float))
    parts = FitParts(variance, table, fitted.value + constant, engine, floored_terms(table))
    clusters = len(np.unique(design.cluster_codes[used]))
    return parts.fit(Fit, design, frame, checks, model="grouped", formula=formula, n_clusters=clusters)


def _fullest_first(design: Design, died: Floats, place: Codes) -> Codes:
    """Give the levels other numbers, that with most deaths the first.

    The first is the one that the others are told from: it must not stand on one cluster, nor on few deaths.
    """
    pairs = np.unique(np.column_stack([design.strata_codes, design.cluster_codes]), axis=0)[:, 0]
    clusters = np.bincount(pairs, minlength=len(place))
    kept, deaths = np.flatnonzero(place >= 0), sum_by(design.strata_codes, died, len(place))
    order = kept[np.lexsort((-deaths[kept], clusters[kept] < 2))]
    numbered = place.copy()
    numbered[order] = np.arange(len(order))
    return numbered


def _watched(frame: pd.DataFrame, design: Design, place: Codes, used: Codes) -> Watched:
    """Rows on arrays, equal ones joined."""
    cluster = np.unique(design.cluster_codes[used], return_inverse=True)[1]
    start, stop, at_risk, died = (
        frame[name].to_numpy(float)[used] for name in ("start_day", "stop_day", "at_risk", "died")
    )
    stratum = place[design.strata_codes[used]]
    cluster = cluster.astype(np.intp) if design.cluster else np.zeros(len(used), dtype=np.intp)
    rows = Watched(design.columns[used], stratum, start, stop, at_risk, died, cluster)
    return rows.joined(*row_codes([*rows.columns.T, stratum, cluster, start, stop], in_order=False))


def _refuse_separated(rows: Watched, frame: pd.DataFrame, design: Design) -> None:
    lived = rows.at_risk - rows.died
    separated = separation(rows.columns, np.ones((len(lived), 1), dtype=bool), rows.stratum, rows.died, lived)
    if separated is not None:
        moved = [term for term, way in zip(design.terms, separated.direction, strict=True) if way]
        raise _diverged(moved, said_of_levels(frame, design.variables))


def _diverged(terms: Sequence[str], who: str = "") -> ModelError:
    return ModelError(
        f"{', '.join(map(term_words, terms))} has no finite estimate"
        + (f": {who}" if who else ", since those who died and those who lived are told apart without fail"),
        where="unspecified baseline",
        mend='use baseline="pieces", which is then penalised, or join that level with another',
    )


def _said(whole: Innermost, fitted: Fitted, baseline: Baseline, rows: Watched) -> list[str]:
    terms = len(fitted.theta)
    sentences = [
        f"baseline unspecified: its hazard may jump in {len(whole.left)} innermost intervals and does in "
        f"{len(fitted.held)} of them",
        "the maximum is certified: a further jump on any day would gain at most "
        f"{1 + max(baseline.excess(rows), fitted.excess):.9f} of what it costs"
        + (f", and the slope in the terms is {fitted.slope:.1e} of a standard error" if terms else ""),
    ]
    sentences += [
        f"nobody was seen to live through days {begin:g} to {end:g}: all who were left died"
        for begin, end in whole.endless
    ]
    return sentences


def _refit(rows: Watched, full: Baseline, fitted: Fitted) -> Refits:
    """Fit again without each cluster, from the full estimate."""
    groups = groups_of(rows.columns, rows.cluster, rows.stratum)
    if groups.count > _MOST_REFITS:
        raise ModelError(
            f"{groups.count} clusters are too many to fit again without each",
            where="unspecified baseline",
            mend='use baseline="pieces", or cluster=None for rows that are independent',
        )
    found = [_without(rows, full, cluster) for cluster in range(groups.count)]
    beta = np.array([each.beta for each, _ in found]).reshape(groups.count, rows.columns.shape[1])
    known = np.array([told for _, told in found]).reshape(beta.shape)
    return Refits(Deletions(groups, beta, known, {}, True), tuple(each for each, _ in found), rows, fitted)


def _without(rows: Watched, full: Baseline, cluster: int) -> tuple[Baseline, NDArray[np.bool_]]:
    """Baseline and terms without a cluster, and which terms have a finite estimate then."""
    strata = len(full.level)
    rest = rows.pick(rows.cluster != cluster)
    seen = np.bincount(rest.stratum, minlength=strata) > 0
    deaths = sum_by(rest.stratum, rest.died, strata)
    kept = np.argsort(-deaths, kind="stable")[: int((deaths > 0).sum())]
    told = np.zeros(len(full.beta), dtype=bool)
    if not len(kept):
        return replace(full, level=np.where(seen, -np.inf, full.level)), told
    rest = rest.pick(deaths[rest.stratum] > 0)
    place = np.zeros(strata, dtype=np.intp)
    place[kept] = np.arange(len(kept))
    stratum = place[rest.stratum]
    usable = independent_columns(rest.columns, stratum)
    told[usable] = True
    part = Watched(
        rest.columns[:, usable], stratum, rest.start, rest.stop, rest.at_risk, rest.died, rest.cluster
    )
    whole = innermost_of(part)
    centre = full.centre[kept][:, usable]
    problem = problem_of(whole, len(kept), centre)
    level = full.level[kept]
    try:
        found = maximise_profile(problem, np.concatenate([level[1:] - level[0], full.beta[usable]]))
    except ModelError:  # without this cluster no term is told: limits are then blank, with a sentence
        return full, np.zeros(len(full.beta), dtype=bool)
    told[usable[found.divergent[found.divergent >= problem.levels] - problem.levels]] = False
    small = Baseline.of(whole, found, len(kept), centre)
    beta = full.beta.copy()
    beta[usable] = small.beta
    loose = np.setdiff1d(np.arange(len(beta)), usable)
    levels = np.where(seen, -np.inf, full.level)
    # The levels found are those of rows with the loose columns as they are held.
    levels[kept] = small.level - (rest.columns[:1, loose] - full.centre[kept][:, loose]) @ beta[loose]
    return small.spread(levels, beta, full.centre, loose, rest.columns[:1]), told
