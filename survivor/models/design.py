"""From a formula and a table to the columns, strata and clusters that a model needs."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec
from formulaic.errors import DataMismatchWarning, FormulaicError
from numpy.typing import NDArray

from survivor.errors import IntervalsError, ModelError
from survivor.intervals import Codes, alike, cluster_columns, group_codes, sum_by
from survivor.models.runaway import range_within

Floats = NDArray[np.float64]
_RANK_TOLERANCE = 1e-8
# A column this many times its range within strata away from nought loses digits, and is centred there.
_FAR_OFF = 2.0


@dataclass(frozen=True)
class Design:
    """Columns of a formula, with strata and clusters as integer codes.

    Attributes
    ----------
    columns
        The formula's columns without intercept, less ``centre``, shape (rows, q).
    centre
        0, or the mean in each stratum of a column that lies very far from nought, such as a
        date in days; the levels take it up. Shape (strata, q).
    terms
        Their names, as the formula library prints them.
    strata_codes, strata_levels
        Stratum of each row and one row a stratum; a single stratum where none was asked for.
    cluster_codes, cluster_levels
        Cluster of each row; every row its own where rows are independent.
    """

    columns: Floats
    centre: Floats
    terms: tuple[str, ...]
    spec: Any
    strata: tuple[str, ...]
    strata_codes: Codes
    strata_levels: pd.DataFrame
    cluster: tuple[str, ...]
    cluster_codes: Codes
    cluster_levels: pd.DataFrame

    @property
    def variables(self) -> tuple[str, ...]:
        """Columns of the table that the formula reads."""
        return tuple(sorted(str(name) for name in self.spec.required_variables))

    def columns_for(self, cells: pd.DataFrame) -> Floats:
        """Columns for new rows, with the codings of the fit; an unseen level is refused."""
        _refuse_absent(cells, self.variables)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error", DataMismatchWarning)
                matrix = self.spec.get_model_matrix(cells)
        except DataMismatchWarning as problem:
            raise ModelError(
                f"a level that the fit has not seen: {problem}",
                where="prediction",
                mend="predict only for levels that are in the records fitted",
            ) from problem
        columns = _without_intercept(matrix)[0]
        return columns - self.centre[self.strata_for(cells)] if self.centre.any() else columns

    def strata_for(self, cells: pd.DataFrame) -> NDArray[np.intp]:
        """Stratum of new rows; one that the fit has not seen is refused."""
        if not self.strata:
            return np.zeros(len(cells), dtype=np.intp)
        names = list(self.strata)
        _refuse_absent(cells, names)
        known = {level: code for code, level in enumerate(_in_words(self.strata_levels, names))}
        asked = _in_words(cells, names)
        for level in asked:
            if level not in known:
                raise ModelError(
                    f"the fit has not seen {' / '.join(names)} {' / '.join(level)}",
                    where="prediction",
                    mend="predict only for strata that are in the records fitted",
                )
        return np.array([known[level] for level in asked], dtype=np.intp)


def build_design(
    frame: pd.DataFrame,
    formula: str,
    strata: str | Sequence[str] | None,
    cluster: str | Sequence[str] | None,
) -> Design:
    """Read a formula against a table.

    Parameters
    ----------
    frame
        Risk intervals.
    formula
        Right-hand side, for example ``"method + weed_free_radius_m"``. The baseline
        stands for the intercept.
    strata, cluster
        Columns; ``plot`` means site, block and plot where present. None: no strata,
        independent rows.

    Raises
    ------
    ModelError
        When a column is absent, holds blanks, or a term cannot be told apart from
        the strata or from other terms; the text names it.
    """
    parsed, needed = _read(frame, formula)
    _refuse_single(frame, needed)
    try:
        matrix = parsed.get_model_matrix(_levels_there(frame, needed), output="numpy")
    except FormulaicError as problem:
        raise ModelError(
            f"the formula cannot be used: {problem}", where=formula, mend="check its terms"
        ) from problem
    columns, terms = _without_intercept(matrix)
    spec: ModelSpec = matrix.model_spec
    strata_names = () if strata is None else tuple(_named(frame, strata, "strata"))
    strata_codes, strata_levels = _codes(frame, strata_names)
    centre = _centre(columns, strata_codes, len(strata_levels))
    if cluster is None:
        cluster_names: tuple[str, ...] = ()
        cluster_codes: Codes = np.arange(len(frame), dtype=np.intp)
        cluster_levels = pd.DataFrame(index=range(len(frame)))
    else:
        cluster_names = tuple(_named(frame, cluster, "cluster"))
        cluster_codes, cluster_levels = group_codes(frame, cluster_names)
        if len(cluster_levels) < 2:
            raise ModelError(
                f"all seedlings stand in one {cluster_names[-1]}, so nothing tells how it varies from one "
                "to another, and no limits can be given",
                where=f"cluster={cluster!r}",
                mend="replicate the preparations; cluster=None only where seedlings were prepared one by one",
            )
    return Design(
        columns - centre[strata_codes],
        centre,
        terms,
        spec,
        strata_names,
        strata_codes,
        strata_levels,
        cluster_names,
        cluster_codes,
        cluster_levels,
    )


def joined(
    frame: pd.DataFrame,
    formula: str,
    strata: str | Sequence[str] | None,
    cluster: str | Sequence[str] | None,
    *others: str,
) -> tuple[pd.DataFrame, Codes, Codes]:
    """Join single seedlings alike in all that a model reads; see ``survivor.intervals.alike``.

    Parameters
    ----------
    frame, formula, strata, cluster
        As for ``build_design``, which refuses the same. Without a cluster every row is a
        cluster of its own, and none are joined.
    others
        Further columns that the model reads where they are there.
    """
    names = _read(frame, formula)[1]
    if strata is not None:
        names += _named(frame, strata, "strata")
    if cluster is None:
        return frame, np.arange(len(frame)), np.arange(len(frame))
    names += _named(frame, cluster, "cluster")
    return alike(frame, [*names, *(name for name in others if name in frame.columns)])


def _read(frame: pd.DataFrame, formula: str) -> tuple[Formula, list[str]]:
    """Read a formula, and name the columns of the table that it needs."""
    # The baseline, or the strata, stand for the intercept; keeping it in the formula
    # gives factors one column less than levels.
    try:
        parsed = Formula("1 + " + formula.replace("~", " "))
    except FormulaicError as problem:
        raise ModelError(
            f"the formula cannot be read: {str(problem).splitlines()[0]}",
            where=formula,
            mend='write e.g. "method"',
        ) from problem
    needed = sorted(str(name) for name in parsed.required_variables)
    _refuse_absent(frame, needed)
    _refuse_blank(frame, needed)
    return parsed, needed


def _named(frame: pd.DataFrame, columns: str | Sequence[str], role: str) -> list[str]:
    try:
        return cluster_columns(frame, columns)
    except IntervalsError as problem:
        raise ModelError(
            problem.what.replace("to tell clusters apart", f"to use as {role}"),
            where=f"{role}={columns!r}",
            mend=f"name a column of the table, or {role}=None",
        ) from problem


def _in_words(frame: pd.DataFrame, names: Sequence[str]) -> list[tuple[str, ...]]:
    """Each row of some columns as text."""
    return list(zip(*(frame[name].astype(str) for name in names), strict=True))


def _codes(frame: pd.DataFrame, names: tuple[str, ...]) -> tuple[Codes, pd.DataFrame]:
    if not names:
        return np.zeros(len(frame), dtype=np.intp), pd.DataFrame(index=[0])
    return group_codes(frame, names)


def _without_intercept(matrix: Any) -> tuple[Floats, tuple[str, ...]]:
    names = matrix.model_spec.column_names
    kept = [place for place, name in enumerate(names) if name != "Intercept"]
    return np.asarray(matrix, dtype=float)[:, kept], tuple(names[place] for place in kept)


def _centre(columns: Floats, stratum: Codes, strata: int) -> Floats:
    number = np.bincount(stratum, minlength=strata)
    middle = np.zeros((strata, columns.shape[1]))
    for place, column in enumerate(columns.T):
        middle[:, place] = sum_by(stratum, column, strata) / number
    far = np.abs(middle).max(axis=0, initial=0.0) > _FAR_OFF * range_within(columns, stratum)
    return np.where(far, middle, 0.0)


def _refuse_absent(frame: pd.DataFrame, names: Sequence[str]) -> None:
    absent = [name for name in names if name not in frame.columns]
    if absent:
        raise ModelError(
            f"the table has no column {', '.join(absent)}",
            where="formula",
            mend=f"columns there are: {', '.join(map(str, frame.columns))}",
        )


def _refuse_blank(frame: pd.DataFrame, names: Sequence[str]) -> None:
    for name in names:
        blank = int(frame[name].isna().sum())
        if blank:
            raise ModelError(
                f"{blank} of {len(frame)} rows have no {name}",
                where=f"column {name}",
                mend=f"leave those rows out knowingly, or leave {name} out of the formula",
            )


def _levels_there(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Factors without the levels that no row has, so that a part of a table is not refused for them."""
    factors = [name for name in names if isinstance(frame[name].dtype, pd.CategoricalDtype)]
    return frame.assign(**{name: frame[name].cat.remove_unused_categories() for name in factors})


def _refuse_single(frame: pd.DataFrame, names: Sequence[str]) -> None:
    for name in names:
        if frame[name].nunique() < 2:
            raise ModelError(
                f"every row has the same {name}, {frame[name].iloc[0]!r}, so nothing can be compared",
                where=f"column {name}",
                mend=f"leave {name} out of the formula",
            )


def refuse_aliased(columns: Floats, names: Sequence[str], stratum: Codes, against: str) -> None:
    """Raise when a column is a combination of the strata and the columns before it.

    Parameters
    ----------
    columns
        The formula's columns, shape (rows, q).
    stratum
        Stratum of each row, 0 to S - 1; its levels are swept out by their means.
    against
        What the strata are, in words.
    """
    kept = set(independent_columns(columns, stratum))
    aliased = [name for place, name in enumerate(names) if place not in kept]
    if aliased:
        raise ModelError(
            f"{', '.join(aliased)} cannot be told apart from {against} or from the terms before it",
            where="formula",
            mend="leave the term out, or compare it where it varies within a stratum",
        )


def independent_columns(columns: Floats, stratum: Codes) -> Codes:
    """Places of the columns that are no combination of the strata and the columns before them.

    Parameters
    ----------
    columns
        Shape (rows, q).
    stratum
        Stratum of each row, 0 to S - 1; its levels are swept out by their means.
    """
    number = np.bincount(stratum).astype(float)
    basis = np.empty((len(columns), 0))
    kept = []
    for place, column in enumerate(columns.T):
        within = column - (sum_by(stratum, column) / number)[stratum]
        for _ in range(2):  # twice is enough for orthogonality to rounding
            within = within - basis @ (basis.T @ within)
        length = float(np.linalg.norm(within))
        if length > _RANK_TOLERANCE * float(np.linalg.norm(column)):
            kept.append(place)
            basis = np.column_stack([basis, within / length])
    return np.array(kept, dtype=np.intp)
