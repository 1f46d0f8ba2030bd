"""Was it the preparation or the better paddock: estimates within sites beside those between them.

Each method's column is split into its share of the plots of a site and what a plot
departs from that share. The first tells sites with more of the method from sites with
less; the second compares plots of one site. Were preparation and paddock not mixed
up, both would tell the same; the test of the shares added to the undivided columns
(Mundlak's term) says whether they differ by more than sites do.

Sources: Mundlak (1978), Econometrica 46, 69-85; Neuhaus and Kalbfleisch (1998),
Biometrics 54, 638-645, for clustered deaths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from survivor.effects.cells import check_by, check_name, levels_of
from survivor.effects.confounding import WITHIN
from survivor.errors import EffectError
from survivor.intervals import cluster_columns, entries
from survivor.limits import INDEPENDENT, said_of_floor
from survivor.models.clusters import WaldTest
from survivor.models.fit import fit as fit_model
from survivor.models.formulas import terms_and_columns
from survivor.models.grouped import arranged
from survivor.models.result import Fit
from survivor.shown import Shown

BETWEEN = "between sites"
DIFFERENCE = "between less within"
_PLAIN, _SHARE = "as it is", "share of its site"
_LEAST_SPREAD = 0.05  # standard deviation of a method's share over sites under which sites tell nothing


@dataclass(frozen=True, repr=False)
class WithinBetween(Shown):
    """Log hazard ratios within and between sites.

    Attributes
    ----------
    by
        Column of methods.
    table
        ``<by>, against, basis`` (``within sites``, ``between sites``, ``between less
        within``), ``estimate, std_error, df, lower, upper, p_value`` (log hazard ratio,
        limits by site), ``hazard_ratio`` with ``_lower`` and ``_upper``.
    test
        F test that no method differs between and within sites (CR2 by site).
    n_sites
        Sites.
    checks
        Plain sentences: methods whose share hardly differs between sites.
    """

    by: str
    table: pd.DataFrame
    test: WaldTest
    n_sites: int
    checks: tuple[str, ...]


def within_between(fit: Fit, by: str = "method", site: str = "site") -> WithinBetween:
    """Compare methods within sites and between them in one model.

    Parameters
    ----------
    fit
        A grouped fit whose formula holds ``by`` outside of interactions; its other terms
        and its pieces are kept, its strata are not.
    by
        Column of methods; the first level is compared with.
    site
        Column of sites.

    Returns
    -------
    WithinBetween

    Raises
    ------
    EffectError
        When the table has no ``site``, ``by`` enters in an interaction, or every site
        holds the methods in about the same shares: then sites tell nothing of them, and
        nothing of the sites is in their difference.
    ModelError
        When there are too few sites for the model.

    Examples
    --------
    >>> uneven = intervals[~intervals["plot"].isin(["p0", "p3", "p7"])]
    >>> found = survivor.within_between(survivor.fit(uneven, "method"))
    >>> found.table[["method", "basis", "estimate"]].round(2).head(3)
      method                basis  estimate
    0  auger         within sites     -0.32
    1  auger        between sites     -1.21
    2  auger  between less within     -0.89
    """
    check_by(fit, by)
    check_name(site)
    if site not in fit.data.columns:
        raise EffectError(
            f"there is no column {site}", where=f"site={site!r}", mend="give the site of every plot"
        )
    levels = levels_of(fit.data, by)
    shares = _shares(fit.data, by, site, levels)
    spread = shares.std(ddof=0)
    told = [place for place, level in enumerate(levels) if place and spread[level] >= _LEAST_SPREAD]
    if not told:
        raise EffectError(
            "every site holds the preparations in about the same shares, so sites tell nothing of them",
            where=f"column {by}",
            mend="nothing is needed: preparations and sites are not mixed up",
        )
    frame, names = _split(fit.data, by, site, levels, shares)
    pieces, others = arranged(fit).pieces.base, _others(fit.formula, by)
    every = range(1, len(levels))
    mixed = [place for place in every if frame[names[WITHIN][place]].any()]
    between = [names[_SHARE][place] for place in told]

    def fitted(columns: list[str]) -> Fit:
        terms = " + ".join([*columns, *between, *others])
        return fit_model(frame, terms, strata=None, cluster=site, pieces=pieces, working=fit.working)

    apart = fitted([names[WITHIN][place] for place in mixed])
    mundlak = fitted([names[_PLAIN][place] for place in every])
    parts = []
    floored: dict[str, bool] = {}
    for place in every:
        lines = [(WITHIN, apart, names[WITHIN][place])] if place in mixed else []
        if place in told:
            share = names[_SHARE][place]
            lines += [(BETWEEN, apart, share), (DIFFERENCE, mundlak, share)]
        for basis, model, term in lines:
            row = model.table[model.table["term"] == term]
            floored[f"{levels[place]} {basis}"] = row["variance"].iloc[0] == INDEPENDENT
            row = row.drop(columns=["term", "variance"])
            parts.append(row.assign(basis=basis, **{by: levels[place], "against": levels[0]}))
    table = pd.concat(parts, ignore_index=True)
    for name in (by, "against"):
        table[name] = pd.Series(table[name].tolist(), dtype=fit.data[by].dtype)
    first = [by, "against", "basis"]
    table = table[[*first, *(name for name in table.columns if name not in first)]]
    missed = [str(level) for place, level in enumerate(levels) if place and place not in told]
    checks = [f"the share of {', '.join(missed)} hardly differs between sites"] if missed else []
    checks += said_of_floor(list(floored), np.array(list(floored.values())))
    return WithinBetween(by, table, mundlak.test(between), len(shares), tuple(checks))


def _shares(data: pd.DataFrame, by: str, site: str, levels: Sequence[Any]) -> pd.DataFrame:
    """Share of each level among the plots of each site (plants, where no column tells plots)."""
    rows = entries(data)
    if "plot" in rows.columns:
        rows = rows.drop_duplicates([*cluster_columns(rows, "plot"), by]).assign(at_risk=1.0)
    counted = rows.pivot_table(
        index=site, columns=by, values="at_risk", aggfunc="sum", fill_value=0.0, observed=True
    )
    counted = counted.reindex(columns=list(levels), fill_value=0.0)
    shares: pd.DataFrame = counted.div(counted.sum(axis=1), axis=0)
    return shares


def _split(
    data: pd.DataFrame, by: str, site: str, levels: Sequence[Any], shares: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """Add the columns of each level: as it is, its site's share, and what is left of it."""
    kinds = {_PLAIN: "level", _SHARE: "share_of", WITHIN: "rest_of"}
    names = {kind: [f"{word}_{place}" for place in range(len(levels))] for kind, word in kinds.items()}
    added: dict[str, Any] = {}
    for place, level in enumerate(levels):
        own = (data[by] == level).to_numpy(dtype=float)
        share = shares[level].loc[data[site].tolist()].to_numpy(dtype=float)
        for kind, values in zip(kinds, (own, share, own - share), strict=True):
            added[names[kind][place]] = values
    return data.assign(**added), names


def _others(formula: str, by: str) -> list[str]:
    """Terms of a formula without ``by``."""
    kept = []
    for term, columns in terms_and_columns(formula):
        if term == by:
            continue
        if by in columns:
            raise EffectError(
                f"{by} enters {formula!r} in an interaction, so it has no one difference to split",
                where="formula",
                mend=f"fit with {by} as a term of its own",
            )
        kept.append(term)
    return kept
