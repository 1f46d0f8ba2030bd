"""What was mended by a rule that the study file allows, and how many records each rule touched.

Records of which none can be used: why that is, and the empty tables that stand for them.

Problems put together by what to do about them: one kind once, with the places where it is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from survivor.errors import RecordsError, UnusableError
from survivor.intervals import row_codes
from survivor.records.problems import LINE, WORKS_ROW, Source
from survivor.records.times import number
from survivor.settings import Settings
from survivor.vocabulary import INFILL, PLANTS, PLOT_KEY, Severity, State
from survivor.words import counted, full_stop

RULE_COLUMNS: Final = ("rule", "what", "records")


# Key under [rules], value at which it is in force, what it does, and the code of what it touched.
_RULES: Final = (
    ("count_rises", "mend", "a count raised to a later, higher one", "count-mended"),
    ("measured_means_alive", True, "a height without a state taken as alive", "measured-alive"),
    ("blank", "dead", "a blank that no sighting follows taken as dead", "blank-dead"),
    ("blank", "alive", "a blank before any death taken as alive", "blank-alive"),
    ("missing", "unknown", "a missing plant taken as unknown", "missing-unknown"),
    ("tags_alike", "join", "two spellings of a tag taken as one", "tag-joined"),
    ("metres_in_centimetres", True, "a radius below 3 in a column of centimetres read as metres",
     "radius-read-in-metres"),
)  # fmt: skip


def rules_in_force(found: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """List the rules of the study file that mend or read records, and count what they touched.

    Parameters
    ----------
    found
        One row a finding and record, with record, code and word.
    settings
        The study file; a rule left at its default is not listed.

    Returns
    -------
    DataFrame
        rule (as it stands in the study file), what (it did), records (touched by it). One that touched
        none says nothing, and is left out.
    """
    rows = []
    for rule, what, code, word in _in_force(settings):
        own = found[(found["code"] == code) & ((found["word"] == word) | (word == ""))]
        if touched := number(own.drop_duplicates("record")):
            rows.append((rule, what, touched))
    return pd.DataFrame(rows, columns=list(RULE_COLUMNS))


def _in_force(settings: Settings) -> Iterator[tuple[str, str, str, str]]:
    """Rule, what it does, and code and word ("": any) of what it touched."""
    for key, value, what, code in _RULES:
        if getattr(settings.rules, key) == value:
            yield f"[rules] {key} = {json.dumps(value)}", what, code, ""
    if any(
        sheet.species for sheet in (*settings.records.sheets, settings.records.plots) if sheet is not None
    ):
        yield "[records.sheets.species]", "a spelling of a species read as another", "renamed", "species"
    if any(method.also for method in settings.methods):
        yield "[[methods]] also", "a spelling of a preparation read as its name", "renamed", "method"


def plants_put_in(visits: pd.DataFrame, plots: pd.DataFrame, *, tagged: bool) -> pd.DataFrame:
    """Count the plants that the records tell of, those that were put in where others had died apart.

    Parameters
    ----------
    visits, plots
        As in `survivor.records.Records`.
    tagged
        Whether a record is of a seedling; else of the plants of a plot.

    Returns
    -------
    DataFrame
        site, method, planted (seedlings in all), first_plants and replants; one row a preparation of a site.
    """
    groups = ["site", "method"]
    if tagged:
        one = visits.drop_duplicates([*PLOT_KEY, "tag", "cohort"])
        later = one["cohort"].astype(str) == INFILL
        number = one[PLANTS] if PLANTS in one.columns else 1
        table = one[groups].astype(str).assign(first_plants=number * ~later, replants=number * later)
    else:
        table = (
            plots[groups].astype(str).assign(first_plants=plots["planted"].fillna(0).astype(int), replants=0)
        )
        if "infill" in visits.columns and visits["infill"].notna().any():
            more = (
                visits[groups]
                .astype(str)
                .assign(first_plants=0, replants=visits["infill"].fillna(0).astype(int))
            )
            table = pd.concat([table, more])
    summed = table.groupby(groups, sort=True)[["first_plants", "replants"]].sum().reset_index()
    summed.insert(2, "planted", summed["first_plants"] + summed["replants"])
    return summed


def sites_with_lost_plants(visits: pd.DataFrame) -> tuple[str, ...]:
    """Name the sites with plants that were not found when they were last looked for.

    Parameters
    ----------
    visits
        As in `survivor.records.Records`.
    """
    if "state" not in visits:
        return ()
    state = visits["state"].astype(str)
    gone = (state == State.NOT_FOUND.value).to_numpy()
    if not gone.any():
        return ()
    seedling = row_codes([visits[name] for name in (*PLOT_KEY, "tag")], in_order=False)[0]
    ever = np.isin(seedling, seedling[gone]) & (state != State.NOT_VISITED.value).to_numpy()
    last = visits[ever].sort_values("date", kind="stable").groupby(seedling[ever], sort=False).tail(1)
    lost = last.loc[last["state"].astype(str) == State.NOT_FOUND.value, "site"]
    return tuple(sorted(set(lost.astype(str))))


_STOOD_FOR: Final = "records"  # how many records a row of the accounts of a register stands for


def counted_up(accounts: pd.DataFrame, times: np.ndarray[Any, Any] | None = None) -> pd.DataFrame:
    """Put accounts together that say the same: one row a file, fate and reason, with how many ``records``.

    Parameters
    ----------
    accounts
        A row a record, or already counted.
    times
        How many records each row stands for; None: one, or as they were counted.
    """
    keys = [name for name in accounts.columns if name not in ("row", _STOOD_FOR)]
    counted_of = accounts.assign(**{_STOOD_FOR: _stood_for(accounts) if times is None else times})
    table = counted_of.groupby(keys, sort=False)[_STOOD_FOR].sum().reset_index()
    return table.assign(row=pd.array([pd.NA] * len(table), dtype="Int64"))[
        [*accounts.columns.drop(_STOOD_FOR, errors="ignore"), _STOOD_FOR]
    ]


def records_read(accounts: pd.DataFrame) -> int:
    """How many records were read."""
    return int(_stood_for(accounts).sum())


def number_by(accounts: pd.DataFrame, column: str = "fate") -> pd.Series[int]:
    """How many records have each value of a column, as they come."""
    return _stood_for(accounts).groupby(accounts[column].astype(str), sort=False).sum()


def _stood_for(accounts: pd.DataFrame) -> pd.Series[int]:
    if _STOOD_FOR in accounts.columns:
        return pd.to_numeric(accounts[_STOOD_FOR]).fillna(1).astype(int)  # those of gauges have none
    return pd.Series(1, index=accounts.index)


_TEXTS: Final = ("name", *PLOT_KEY, "tag", "species", "method", "cohort")
_NUMBERS: Final = ("start_day", "stop_day", "at_risk", "died")
_DAYS: Final = ("planted_date", "start_date", "stop_date")
_NOT_BEGUN: Final = "planting-in-future"
_LATER: Final = "fill in the sheet of each visit when it is made, then check again"
_COLOURS: Final = "; where colours tell the states, write them as words, such as alive and dead"


def why_nothing(
    problems: pd.DataFrame, sources: Sequence[Source], study: str, *, filled: bool
) -> RecordsError:
    """Say why no record can be used, the commonest cause first.

    Parameters
    ----------
    problems
        All problems.
    sources
        Where the records came from.
    study
        Name of the study.
    filled
        Whether any visit record tells a state or a count, right or wrong.
    """
    stopped = problems.loc[problems["severity"] == Severity.STOP]
    file = next(
        (source.file for source in reversed(sources) if source.record not in (LINE, WORKS_ROW)), study
    )
    if not filled and len(stopped) and (stopped["code"] == _NOT_BEGUN).all():
        first = stopped["value"].astype(str).min()
        return RecordsError(
            f"the season has not begun: planting is set for {first}, and no visit is filled in yet",
            where=file,
            mend=f"{_LATER}; if planting was earlier, correct its date",
        )
    if not filled:
        return RecordsError(
            "no visit is filled in yet, so there is nothing to analyse", where=study, mend=_LATER + _COLOURS
        )
    times = stopped["code"].map(stopped["code"].value_counts())
    # The commonest cause first: it is the one that left nothing.
    often = stopped.loc[times.sort_values(ascending=False, kind="stable").index].drop_duplicates("code")
    lines = "".join(
        f"\n    {p.file} row {p.row}, {p.column}: {p.value!r}: {p.what}; {p.mend}" for p in often.itertuples()
    )
    what = "no record can be used, so there is nothing to analyse"
    if lines:
        return UnusableError(what, where=study, mend=f"begin with these:{lines}")
    mend = "give at least two visits of a plot, or planting and one visit"
    return RecordsError(what, where=study, mend=mend)


def no_rows(traits: Sequence[str]) -> pd.DataFrame:
    """Make an empty table with every column of risk intervals and of what they are made of.

    Parameters
    ----------
    traits
        Columns that would explain survival.
    """
    columns: dict[str, pd.Series[Any]] = {word: pd.Series(dtype=object) for word in (*_TEXTS, *traits)}
    columns |= {word: pd.Series(dtype="int64") for word in _NUMBERS}
    columns |= {word: pd.Series(dtype="datetime64[ns]") for word in _DAYS}
    columns |= {word: pd.Series(dtype=float) for word in ("planted", "weed_free_radius_m")}
    columns["at_planting"] = pd.Series(dtype=bool)
    return pd.DataFrame(columns)


_OWN: Final = re.compile(r" \((tag |[\d,]+ records|[\d,]+ times)[^()]*\)$")
HEADINGS: Final[dict[Severity, str]] = {
    Severity.STOP: "Correct these first: not used until that is done",
    Severity.CHECK: "Please look: used, or excluded, by the rule stated",
    Severity.NOTE: "Worth knowing: nothing to do if it is right",
}


# What follows from a cause that is listed itself is no problem of its own: a death never seen alive, where
# the words for alive are not known.
_CAUSES: Final = ("unknown-state", "no-planting-date", "unreadable-count")
_CONSEQUENCES: Final = frozenset(
    ["never-seen-alive", "tagged-not-told", "seen-once", "skipped-visit", "site-blank", "plot-without-visits",
     "lost-from-sight", "not-found-at-end", "one-plot-method", "one-plot-site", "unconfirmed-death"]
)  # fmt: skip
_UNTOLD, _OF_UNTOLD = "tagged-not-told", "never-seen-alive"  # a death before the tags, if they came later
_MANY: Final = 0.02  # of the records, excluded for one cause, from which the others follow from it


def first_causes(problems: pd.DataFrame, accounts: pd.DataFrame) -> pd.DataFrame:
    """Leave out problems that follow from another: they are gone once that one is mended.

    Parameters
    ----------
    problems, accounts
        As `survivor.records.Records` has them.
    """
    if (problems["code"] == _UNTOLD).any():
        problems = problems[problems["code"] != _OF_UNTOLD].reset_index(drop=True)
    excluded = number_by(accounts[accounts["fate"] == "excluded"], "code")
    if excluded[excluded.index.isin(_CAUSES)].sum() <= _MANY * records_read(accounts):
        return problems
    return problems[~problems["code"].isin(_CONSEQUENCES)].reset_index(drop=True)


def used_words(accounts: pd.DataFrame) -> str:
    """Say how many of the records read are used."""
    used = int(number_by(accounts).get("used", 0))
    return f"{used:,} of {counted(records_read(accounts), 'record')} are used"


def following_words(problems: pd.DataFrame, first: pd.DataFrame) -> str:
    """Name the kinds of problems that may follow from the first causes, which are listed without them."""
    more = problems.loc[~problems["code"].isin(first["code"]), "code"].value_counts(sort=False)
    kinds = ", ".join(f"{code} ({number:,})" for code, number in more.items())
    return f"{counted(int(more.sum()), 'problem')} more may be gone once these are corrected: {kinds}"


class Cell(NamedTuple):
    """Where a problem is; "" for what it has not."""

    file: str
    sheet: str
    row: str
    column: str


@dataclass(frozen=True)
class Kind:
    """Problems of one code.

    Attributes
    ----------
    code, severity
        What all of them share.
    sheets
        File and sheet of each that has one.
    what
        What is wrong, where all say the same; else "".
    spots
        Row, column and value of each, with its sheet where there are several; where ``what``
        is empty, with what is wrong there.
    cells
        File, sheet, row and column of each.
    values
        What stands in each cell.
    mends
        What to do about each, in the order of ``spots``.
    """

    code: str
    severity: Severity
    sheets: tuple[str, ...]
    what: str
    spots: tuple[str, ...]
    cells: tuple[Cell, ...]
    values: tuple[str, ...]
    mends: tuple[str, ...]

    @property
    def where(self) -> str:
        """The sheet, or how many sheets."""
        return (
            self.sheets[0] if len(self.sheets) == 1 else f"{len(self.sheets)} sheets" if self.sheets else ""
        )


def kinds_of(problems: pd.DataFrame, severity: Severity) -> list[Kind]:
    """Put the problems of one severity together by their code, in their order.

    Parameters
    ----------
    problems
        `survivor.vocabulary.PROBLEM_COLUMNS`.
    severity
        Which of them.
    """
    of_it = problems[problems["severity"] == severity]
    text = of_it.astype(object).where(of_it.notna(), "").astype(str)  # a whole file has no row
    return [_kind(group, severity) for _, group in text.groupby("code", sort=False)]


def _kind(group: pd.DataFrame, severity: Severity) -> Kind:
    rows: list[dict[str, str]] = [
        {str(k): str(v) for k, v in row.items()} for row in group.to_dict("records")
    ]
    said = [_parted(row["what"]) for row in rows]
    same = len(rows) > 1 and len({what for what, _ in said}) == 1
    sheets = tuple(dict.fromkeys(sheet for row in rows if (sheet := _sheet(row))))
    if same:
        spots = [
            (f"{row['sheet'] or row['file']} " if len(sheets) > 1 else "")
            + spot(row)
            + ("" if row["value"] and row["value"] in extra else extra)
            for row, (_, extra) in zip(rows, said, strict=True)
        ]
        once = {place: row for place, row in zip(reversed(spots), reversed(rows), strict=True)}
        spots = list(dict.fromkeys(spots))  # the same of one cell is said once
        rows = [once[place] for place in spots]
    else:
        spots = [f"{_place(row)}: {full_stop(row['what'])}" for row in rows]
    return Kind(
        code=rows[0]["code"],
        severity=severity,
        sheets=sheets,
        what=said[0][0] if same else "",
        spots=tuple(spots),
        cells=tuple(Cell(row["file"], row["sheet"], row["row"], row["column"]) for row in rows),
        values=tuple(row["value"] for row in rows),
        mends=tuple(row["mend"] for row in rows),
    )


def _sheet(row: dict[str, str]) -> str:
    return ", ".join(part for part in (row["file"], row["sheet"] and f"sheet {row['sheet']}") if part)


def _parted(what: str) -> tuple[str, str]:
    """Part what is wrong from what tells one problem from the next: its tag, or how many records."""
    found = _OWN.search(what)
    return (what, "") if found is None else (what[: found.start()], found[0])


def _place(row: dict[str, str]) -> str:
    """File, sheet, row, column and value of a problem, as far as it has them."""
    return ", ".join(part for part in (_sheet(row), spot(row)) if part)


def spot(row: dict[str, str]) -> str:
    """Row, column and value of a problem; a study file has lines and keys."""
    of_study = row["file"].endswith(".toml")
    told = [row["row"] and f"{'line' if of_study else 'row'} {row['row']}"]
    told.append(row["column"] if of_study or not row["column"] else f"column {row['column']}")
    value = f" [{row['value']}]" if row["value"] else ""
    return (", ".join(part for part in told if part) + value).strip()
