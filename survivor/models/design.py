"""From a formula and a table to the columns, strata and clusters that a model needs."""

from __future__ import annotations

import re
import warnings
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec, SimpleFormula
from formulaic.errors import DataMismatchWarning, FormulaicError
from numpy.typing import NDArray

from survivor.arguments import brief
from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import alike, group_codes, less_means, row_codes, sum_by, whole_names
from survivor.models.formulas import ONE_AT_A_TIME, matrix_of, parsed
from survivor.models.separation import range_within
from survivor.vocabulary import PLOT_KEY
from survivor.words import any_text, first_few, term_words

_RANK_TOLERANCE = 1e-8
# A column this many times its range within strata away from zero loses digits, and is centred there.
_FAR_OFF = 2.0
_NAMED = 6  # terms in one sentence
_NO_INTERCEPT = re.compile(r"\s*(-\s*1|\+\s*0|^\s*0\s*\+)(?![\w.])\s*")


@dataclass(frozen=True)
class Design:
    """Columns of a formula, with strata and clusters as integer codes.

    Attributes
    ----------
    columns
        The formula's columns without intercept, less ``centre``, shape (rows, q).
    centre
        0, or the mean in each stratum of a column that lies very far from zero, such as a
        date in days; the levels take it up. Shape (strata, q).
    terms
        Their names, as the formula library prints them.
    strata_codes, strata_levels
        Stratum of each row and one row a stratum; a single stratum where none was asked for.
    cluster_codes, cluster_levels
        Cluster of each row; every row its own where rows are independent.
    offset
        Column that is added to the log hazard as it is; None: nothing is.
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
    offset: str | None = None

    @property
    def variables(self) -> tuple[str, ...]:
        """Columns of the table that the formula reads, and the offset."""
        read = {str(name) for name in self.spec.required_variables}
        return tuple(sorted(read if self.offset is None else read | {self.offset}))

    def times(self, rows: pd.DataFrame) -> Floats | float:
        """How many times the hazard the offset makes it, shape (n, 1); 1 without one."""
        if self.offset is None:
            return 1.0
        _refuse_absent(rows, [self.offset])
        times: Floats = np.exp(rows[self.offset].to_numpy(dtype=float))[:, None]
        return times

    def against(self, what: str = "levels", alone: str = "the baseline") -> str:
        """Say what terms must differ from: the strata's levels or baselines, or what stands for them."""
        return f"{' and '.join(self.strata)} {what}" if self.strata else alone

    def left_out(self, strata: Codes, fate: str, what: str, alive: int) -> list[str]:
        """Say which strata have no ``what`` to compare, since everybody's ``fate`` there was the same."""
        if not len(strata):
            return []
        return [
            f"{fate} at {', '.join(self.named(strata))}: no {what} can be compared there, and the "
            f"standardised survival takes it as {alive} alive per 100"
        ]

    def said_of_labels(self) -> list[str]:
        """Say that a plot's label stands in several strata, with no site or block that tells plots apart."""
        if self.cluster != ("plot",) or not self.strata:
            return []
        pairs = np.unique(np.column_stack([self.cluster_codes, self.strata_codes]), axis=0)[:, 0]
        several = np.bincount(pairs)
        label = self.cluster_levels["plot"].iloc[int(several.argmax())]
        if several.max() < 2:
            return []
        strata, columns = " and ".join(self.strata), ", ".join(f'"{name}"' for name in (*self.strata, "plot"))
        return [
            f"plot {label} stands in {several.max()} levels of {strata} and counts as one plot; where these "
            f"are plots of their own, give cluster=[{columns}]"
        ]

    def named(self, strata: Codes) -> list[str]:
        """Names of some strata."""
        if not self.strata:
            return ["the study"]
        return self.strata_levels.loc[strata].astype(str).agg(" / ".join, axis=1).tolist()

    def columns_for(self, cells: pd.DataFrame) -> Floats:
        """Columns for new rows, with the codings of the fit; an unseen level is refused."""
        _refuse_absent(cells, self.variables)
        _refuse_blank(cells, self.variables)
        # Rows alike in all that the formula reads have the same columns.
        code, first = row_codes(
            [np.zeros(len(cells)), *(cells[name] for name in self.variables)], in_order=False
        )
        cells_apart = cells.iloc[first]
        try:
            with ONE_AT_A_TIME, warnings.catch_warnings():
                warnings.simplefilter("error", DataMismatchWarning)
                matrix = matrix_of(self.spec, cells_apart)
        except FormulaicError as problem:
            raise ModelError(
                f"a column is of another kind than in the records fitted: {problem}",
                where="prediction",
                mend="give numbers where the records had numbers, and names where they had names",
            ) from problem
        except DataMismatchWarning as problem:
            raise ModelError(
                f"a level that the fit has not seen: {problem}",
                where="prediction",
                mend="predict only for levels that are in the records fitted",
            ) from problem
        columns, terms = _without_intercept(matrix)
        _refuse_without_value(columns, terms, cells_apart)
        columns = columns[code]
        return columns - self.centre[self.strata_for(cells)] if self.centre.any() else columns

    def strata_for(self, cells: pd.DataFrame) -> NDArray[np.intp]:
        """Stratum of new rows; one that the fit has not seen is refused."""
        if not self.strata:
            return np.zeros(len(cells), dtype=np.intp)
        names = list(self.strata)
        _refuse_absent(cells, names)
        known = {level: code for code, level in enumerate(_in_words(self.strata_levels, names))}
        # Names are read once a stratum.
        code, first = row_codes([cells[name] for name in names], in_order=False)
        asked = _in_words(cells[names].iloc[first], names)
        for level in asked:
            if level not in known:
                raise ModelError(
                    f"the fit has not seen {' / '.join(names)} {' / '.join(level)}",
                    where="prediction",
                    mend="predict only for strata that are in the records fitted",
                )
        return np.array([known[level] for level in asked], dtype=np.intp)[code]


def build_design(
    frame: pd.DataFrame,
    formula: str,
    strata: str | Sequence[str] | None,
    cluster: str | Sequence[str] | None,
    offset: str | None = None,
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
    offset
        Column of numbers that is added to the log hazard as it is.

    Raises
    ------
    ModelError
        When a column is absent, holds blanks, or a term cannot be distinguished from
        the strata or from other terms; the text names it.
    """
    terms_read, needed = _read(frame, formula)
    _refuse_single(frame, needed)
    try:
        matrix = matrix_of(terms_read, _levels_there(frame, needed), output="numpy", na_action="ignore")
    except (FormulaicError, SyntaxError) as problem:
        raise ModelError(
            f"the formula cannot be used: {problem}", where=formula, mend="check its terms"
        ) from problem
    columns, terms = _without_intercept(matrix)
    _refuse_without_value(columns, terms, frame)
    spec: ModelSpec = matrix.model_spec
    strata_names = () if strata is None else tuple(columns_named(frame, strata, "strata"))
    strata_codes, strata_levels = _codes(frame, strata_names)
    centre = _centre(columns, strata_codes, len(strata_levels))
    if cluster is None:
        cluster_names: tuple[str, ...] = ()
        cluster_codes: Codes = np.arange(len(frame), dtype=np.intp)
        cluster_levels = pd.DataFrame(index=range(len(frame)))
    else:
        cluster_names = tuple(columns_named(frame, cluster, "cluster"))
        cluster_codes, cluster_levels = group_codes(frame, cluster_names)
        if len(cluster_levels) < 2:
            raise ModelError(
                f"all seedlings stand in one {cluster_names[-1]}, so nothing says how much "
                f"{cluster_names[-1]}s differ, and there are no limits",
                where=f"cluster={cluster!r}",
                mend="put each preparation on several plots",
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
        offset,
    )


def amounts(frame: pd.DataFrame, column: str, role: str) -> Floats:
    """Numbers of a column that an argument called ``role`` names, shape (n,).

    Raises
    ------
    ModelError
        When the column is absent or no column of finite numbers.
    """
    if not isinstance(column, str) or column not in frame.columns:
        raise ModelError(
            f"the intervals have no column {brief(column)} to use as {role}",
            where=f"{role}={brief(column)}",
            mend=f"name a column of numbers, or leave {role}= out",
        )
    if not pd.api.types.is_numeric_dtype(frame[column]):
        raise ModelError(
            f"{column} is no column of numbers", where=f"{role}={column!r}", mend="give a number in every row"
        )
    _refuse_blank(frame, [column])
    return frame[column].to_numpy(dtype=float)


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
        names += columns_named(frame, strata, "strata")
    if cluster is None:
        return frame, np.arange(len(frame)), np.arange(len(frame))
    names += columns_named(frame, cluster, "cluster")
    return alike(frame, [*names, *(name for name in others if name in frame.columns)])


def _read(frame: pd.DataFrame, formula: str) -> tuple[Formula, list[str]]:
    """Read a formula, and name the columns of the table that it needs."""
    # The baseline, or the strata, stand for the intercept; keeping it in the formula
    # gives factors one column less than levels.
    try:
        terms_read, needed = parsed("1 + " + _right_hand_side(formula))
    except (FormulaicError, SyntaxError) as problem:
        raise ModelError(
            f"the formula cannot be read: {str(problem).splitlines()[0]}",
            where=formula,
            mend='write e.g. "method"',
        ) from problem
    if not isinstance(terms_read, SimpleFormula):
        raise ModelError(
            "the formula has several parts",
            where=formula,
            mend='write one, with "+" between its terms; levels by site are strata="site"',
        )
    if "died" in needed:
        raise ModelError(
            "died is what is explained, so it explains nothing",
            where=formula,
            mend="leave it out of the formula",
        )
    _refuse_functions(frame, needed, formula)
    _refuse_absent(frame, needed)
    _refuse_blank(frame, needed)
    _refuse_codes(frame, needed, formula)
    return terms_read, needed


def _refuse_codes(frame: pd.DataFrame, names: Sequence[str], formula: str) -> None:
    """Raise where numbers stand for names: one straight line would be fitted through the codes."""
    for name in ("method", "species", *PLOT_KEY):
        if name not in names or not pd.api.types.is_numeric_dtype(frame[name]):
            continue
        if not re.search(rf"\bC\(\s*{name}\b", formula):
            raise ModelError(
                f"{name} is a column of numbers, and a formula takes numbers as amounts: one straight line "
                "through their values",
                where=f"column {name}",
                mend=f"write C({name}) in the formula, or give the names themselves",
            )


def _right_hand_side(formula: str) -> str:
    """Read the terms alone; what a survival model does not take is refused with what to write."""
    if not isinstance(formula, str):
        raise ModelError(
            f"a formula is text, not {type(formula).__name__}", where="formula", mend='write e.g. "method"'
        )
    left, _, right = formula.rpartition("~")
    if left.strip():
        raise ModelError(
            f"who died is told by the columns at_risk and died, not by {left.strip()!r} in the formula",
            where=formula,
            mend=f'write "{right.strip()}"',
        )
    if no_intercept := _NO_INTERCEPT.search(right):
        kept = _NO_INTERCEPT.sub("", right).strip(" +") or "1"
        raise ModelError(
            f"{no_intercept[0].strip()!r} asks for no intercept, but the baseline stands for it",
            where=formula,
            mend=f'write "{kept}"; to compare with another level make it the first category',
        )
    return right


def _refuse_functions(frame: pd.DataFrame, names: Sequence[str], formula: str) -> None:
    """Raise where a name that no column has is called as a function."""
    for name in names:
        if name in frame.columns or not re.search(rf"(?<![\w.]){re.escape(name)}\s*\(", formula):
            continue
        own = f"add a column that holds {name}(...) to the table and name it"
        if name == "offset":
            own = 'give offset="column" beside the formula, with model="grouped"'
        raise ModelError(
            f"formulas have no function {name}",
            where=formula,
            mend=f"{own}; functions there are: C, I, log, exp, poly, bs, cr, scale, center and those of np",
        )


def columns_named(frame: pd.DataFrame, columns: str | Sequence[str], role: str) -> list[str]:
    """Columns of the table that an argument called ``role`` names; one that is absent is refused."""
    names, absent = whole_names(frame, columns)
    if absent or not names:
        raise ModelError(
            f"the intervals have no column {', '.join(absent) or columns!r} to use as {role}",
            where=f"{role}={columns!r}",
            mend=f"name a column of the table, or {role}=None",
        )
    if "died" in names:
        raise ModelError(
            f"died is what is explained, so it cannot be the {role}",
            where=f"{role}={columns!r}",
            mend="name a column that is known from planting on",
        )
    return names


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
    middle = sum_by(stratum, columns, strata) / np.bincount(stratum, minlength=strata)[:, None]
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
        blank = int((frame[name].isna() | _without_letters(frame[name])).sum())
        if blank:
            raise ModelError(
                f"{blank} of {len(frame)} rows have no {name}",
                where=f"column {name}",
                mend=f"leave those rows out knowingly, or leave {name} out of the formula",
            )
        if pd.api.types.is_float_dtype(frame[name]) and not np.isfinite(frame[name]).all():
            row = frame.index[~np.isfinite(frame[name].to_numpy(float))][0]
            raise ModelError(
                f"row {row} has {name} {frame.loc[row, name]:g}, which is not finite",
                where=f"column {name}",
                mend=f"give the value that was measured, or leave {name} out of the formula",
            )


def _without_letters(column: pd.Series[Any]) -> NDArray[np.bool_]:
    """Whether each value is a text without a letter or sign, shape (n,)."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        codes, levels = column.cat.codes.to_numpy(), column.cat.categories.tolist()
    elif pd.api.types.is_object_dtype(column):
        try:
            codes, found = pd.factorize(column.to_numpy())
        except TypeError:  # lists and the like, refused for what they are
            return np.zeros(len(column), dtype=bool)
        levels = list(found)
    else:
        return np.zeros(len(column), dtype=bool)
    empty = [isinstance(level, str) and not level.strip() for level in levels]
    told: NDArray[np.bool_] = np.array([*empty, False])[codes]  # a blank has code -1
    return told


def _levels_there(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Factors without the levels that no row has, so that a part of a table is not refused for them."""
    factors = [name for name in names if isinstance(frame[name].dtype, pd.CategoricalDtype)]
    return frame.assign(**{name: frame[name].cat.remove_unused_categories() for name in factors})


def _refuse_without_value(columns: Floats, terms: Sequence[str], frame: pd.DataFrame) -> None:
    """Raise where a function of a column has no value, as the logarithm of 0 has none."""
    lost = ~np.isfinite(columns)
    if lost.any():
        row, term = (int(place[0]) for place in np.nonzero(lost))
        raise ModelError(
            f"{terms[term]} has no finite value in row {frame.index[row]}",
            where="formula",
            mend="take a function that has one for every value of its column",
        )


def _refuse_single(frame: pd.DataFrame, names: Sequence[str]) -> None:
    for name in names:
        texts = pd.api.types.is_object_dtype(frame[name])
        # Asked of each kind of value once: there may be millions of values.
        told_apart = not texts or all(issubclass(kind, Hashable) for kind in set(map(type, frame[name])))
        if frame[name].dtype.kind in "mMc" or not told_apart:
            raise ModelError(
                f"{name} holds neither names nor numbers",
                where=f"column {name}",
                mend="give text, or a number; of a date, for example, the days since planting",
            )
        if frame[name].nunique() < 2:
            raise ModelError(
                f"every row has the same {name}, {any_text(frame[name].iloc[0])}, so nothing can be compared",
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
            f"{first_few(map(term_words, aliased), _NAMED)} cannot be distinguished from {against} or from "
            "the terms before it",
            where="formula",
            mend='write constraints="center" in the spline'
            if all(name.startswith(("cr(", "cc(")) for name in aliased)
            else "leave the term out, or compare it where it varies within a stratum",
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
    basis = np.empty((len(columns), 0))
    kept = []
    for place, column in enumerate(columns.T):
        within = less_means(column, stratum)
        for _ in range(2):  # twice is enough for orthogonality to rounding
            within = within - basis @ (basis.T @ within)
        length = float(np.linalg.norm(within))
        if length > _RANK_TOLERANCE * float(np.linalg.norm(column)):
            kept.append(place)
            basis = np.column_stack([basis, within / length])
    return np.array(kept, dtype=np.intp)
