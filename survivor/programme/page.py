"""A programme as a page: the answer first, then small multiples of what stands behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor._version import __version__
from survivor.document.elements import (
    Block,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
    numbers,
    of_row,
    words,
    written,
)
from survivor.figures.programme import (
    Panel,
    panels_of_rows,
    plantings_figure,
    programme_differences,
    studies_figure,
)
from survivor.pooling.result import Coming
from survivor.programme import english as en
from survivor.programme.together import Programme
from survivor.sentences import Name, Names, Sentence, Text, Value, cell, say
from survivor.vocabulary import PER_100, SIGNIFICANCE
from survivor.words import (
    alive_limits,
    capital,
    counted,
    difference,
    first_few,
    number,
    per_100,
    per_100_limits,
    plain,
)

_MOST_LEFT: Final = 40  # reasons on a page; the workbook has all
_MOST_PANELS: Final = 12  # organisations with a panel of their own
_MOST_LEVELS: Final = 12  # rows of a panel
_FEW: Final = 3  # studies under which a preparation is hardly tried on a kind of ground
_FEW_TARGETS: Final = 3  # under which a share has a range of no use
_LIMITS: Final = ("estimate", "lower", "upper")
_OF_LEVELS: Final = (words("By", "by", capital), words("", "level"))
_BY: Final = {
    "preparation": "By preparation",
    "ground": "By ground",
    "year": "By year of planting",
    "organisation": "By organisation",
}
Row = dict[str, Any]


def page_of_programme(programme: Programme, digest: str) -> Report:
    """Return the page.

    Parameters
    ----------
    programme
        Put together.
    digest
        Of what all studies rest on.
    """
    return Report(
        title=en.TITLE.format(studies=_studies_words(len(programme.records)))
        if len(programme.records) > 1
        else en.TITLE_ONE,
        about=_about(programme),
        answer=Section("answer", en.ANSWER, (*_lead(programme), *_differences(programme))),
        sections=tuple(
            section
            for section in (
                _lives(programme),
                _promised(programme),
                _studies(programme),
                _next(programme),
                _watched(programme),
                _left(programme),
                _methods(programme, digest),
            )
            if section.blocks
        ),
        subject="establishment survival, a programme of studies",
        called="programme",
        made_from="the study folders",
        origin="#methods",
    )


def _about(programme: Programme) -> tuple[str, ...]:
    used = [record for record in programme.records if record.years]
    sums = {key: sum(record.counts[key] for record in used) for key in ("seedlings", "plots", "sites")}
    years = sorted({year for record in used for year in record.years})
    organisations = {record.organisation for record in used if record.organisation}
    about = en.ABOUT.format(
        studies=_studies_words(len(programme.records)),
        organisations=counted(len(organisations), "organisation"),
        years=f"{years[0]} to {years[-1]}" if years[0] != years[-1] else str(years[0]),
        seedlings=number(sums["seedlings"]),
        plots=counted(sums["plots"], "plot"),
        sites=counted(sums["sites"], "site"),
    )
    return about, en.ABOUT_WHEN.format(milestone=programme.milestone)


def _studies_words(count: float) -> str:
    return counted(count, "study", "studies")


def per_100_rows(programme: Programme) -> list[Row]:
    """Differences per 100 planted that were pooled, best first."""
    table = programme.pooled
    if "estimate" not in table:
        return []
    rows = table[(table["scale"] == PER_100) & np.isfinite(table["estimate"])]
    return [{str(name): value for name, value in row.items()} for row in rows.to_dict("records")]


def _clear(row: Row) -> bool:
    """Whether a difference is clear: by p adjusted for all comparisons, as in a report."""
    return bool(row["p_adjusted"] < SIGNIFICANCE)


def lead(programme: Programme) -> list[tuple[Sentence, ...]]:
    """Say what lives, what keeps more alive, what was promised and what is not known, a paragraph each."""
    said = [_living(programme), _kept(programme), _promise(programme), _unknown(programme)]
    return [sentences for sentences in said if sentences]


def _lead(programme: Programme) -> tuple[Paragraph, ...]:
    return tuple(
        Paragraph(sentences, kind="lead" if place == 0 else "plain")
        for place, sentences in enumerate(lead(programme))
    )


def _living(programme: Programme) -> tuple[Sentence, ...]:
    table = programme.lives
    own = table[table["by"] == "preparation"].to_dict("records")
    if not own:
        return ()
    whole = table[table["by"] == "all"].to_dict("records")[0]
    usual = {record.usual for record in programme.of_state("used")}
    said = [
        say(
            en.LIVE_ALL,
            milestone=programme.milestone,
            alive=number(whole["alive"]),
            known=number(whole["known"]),
            **_alive_parts(whole),
        )
    ]
    for row in own:
        if row["level"] in usual and len(usual) == 1:
            said.append(say(en.LIVE_LEAST, method=Name(str(row["level"])), **_alive_parts(row)))
    return tuple(said)


def _alive_parts(row: Mapping[Any, Any]) -> dict[str, Any]:
    at = {"by": row["by"], "level": row["level"]}
    return {
        "size": Value(per_100(row["estimate"]), row["estimate"], cell("what lives", "estimate", **at)),
        "span": Value(
            per_100_limits(row["lower"], row["upper"]), row["lower"], cell("what lives", "lower", **at)
        ),
    }


def _kept(programme: Programme) -> tuple[Sentence, ...]:
    rows = per_100_rows(programme)
    if not rows:
        return (say(en.NOTHING_POOLED),)
    said: list[Sentence] = []
    for row in rows:
        if not _clear(row):
            continue
        better = row["estimate"] > 0
        low, high = sorted((abs(row["lower"]), abs(row["upper"])))
        size, span = difference(abs(row["estimate"]), low, high)
        said.append(
            say(
                en.KEEPS if better else en.HARMS,
                method=Name(row["method"]),
                against=Name(row["against"]),
                size=Value(
                    size.lstrip("+"), row["estimate"], _cell(row, "estimate"), 1.0 if better else -1.0
                ),
                span=span.replace("+", ""),
                studies=_studies_words(row["n_units"]),
            )
        )
        said.append(say(en.NEW, span=_new(row)))
    return tuple(said)


def _cell(row: Row, column: str) -> Any:
    return cell("differences", column, method=row["method"], against=row["against"], scale=PER_100)


def _new(row: Row) -> Value:
    return Value(str(Coming.of_row(row, "studies")), row["new_lower"], _cell(row, "new_lower"))


def _drawn(rows: list[Row]) -> pd.DataFrame:
    """Return the comparisons for a picture: what a new study may show as far as it is possible."""
    coming = [Coming.of_row(row, "studies") for row in rows]
    return pd.DataFrame(rows).assign(
        new_lower=[one.lower for one in coming],
        new_upper=[one.upper for one in coming],
        new_words=[str(one) for one in coming],
    )


def _promise(programme: Programme) -> tuple[Sentence, ...]:
    rows = _verdicts(programme)
    judged = int(rows["met"]["judged"]) if rows else 0
    if not judged:
        return (say(en.NO_TARGETS),)
    unclear = rows["unclear"]["targets"] + rows["depends on missing plants"]["targets"]
    counts = say(
        en.TARGETS,
        judged=counted(judged, "target that can be judged", "targets that can be judged"),
        met=counted(rows["met"]["targets"], "was", "were"),
        missed=number(rows["missed"]["targets"]),
        unclear=number(unclear),
    )
    met = rows["met"]
    if judged < _FEW_TARGETS:
        return (counts,)
    share = say(
        en.TARGETS_SHARE, size=per_100(met["estimate"]), span=per_100_limits(met["lower"], met["upper"])
    )
    return counts, share


def _verdicts(programme: Programme) -> dict[str, Row]:
    own = programme.targets[programme.targets["by"] == "all"]
    return {str(row["verdict"]): {str(k): v for k, v in row.items()} for row in own.to_dict("records")}


def _unknown(programme: Programme) -> tuple[Sentence, ...]:
    said: list[Sentence] = []
    open_ones = [row["method"] for row in per_100_rows(programme) if not _clear(row)]
    if open_ones:
        said.append(say(en.UNKNOWN, methods=Names(tuple(dict.fromkeys(open_ones)))))
    studies = _studies_words(len(programme.records))
    if unused := len(programme.of_state("not used")):
        said.append(say(en.UNUSED, unused=number(unused), studies=studies))
    if waiting := len(programme.of_state("not yet")):
        said.append(say(en.WAITING, waiting=number(waiting), studies=studies, milestone=programme.milestone))
    return (*said, say(en.COSTS))


def _differences(programme: Programme) -> tuple[Block, ...]:
    rows = per_100_rows(programme)
    if not rows:
        return ()
    table = _drawn(rows)
    clear = sum(map(_clear, rows))
    preparations = counted(len(rows), "preparation")
    finding = (
        say(en.DIFFERENCES_CLEAR, clear=number(clear), preparations=preparations)
        if clear
        else say(en.DIFFERENCES_OPEN, preparations=preparations)
    )
    draw = partial(programme_differences, table, programme.smallest)
    return (
        Figure(
            "differences",
            en.DIFFERENCES,
            finding,
            f"{en.DIFFERENCES_CAPTION} {en.DIFFERENCES_HOW}",
            draw,
            _numbers(rows),
        ),
    )


def _numbers(rows: list[Row]) -> Table:
    fields = (
        words("Preparation", "method"),
        words("Against", "against"),
        numbers(
            f"Difference {PER_100} (95 % CI)", *_LIMITS, write=lambda *of: "{} ({})".format(*difference(*of))
        ),
        of_row("In a new study", lambda row: _new(row).text, numeric=True),
        numbers("Studies", "n_units"),
    )
    return replace(written("differences-table", en.DIFFERENCES, rows, fields), folded=True)


def _lives(programme: Programme) -> Section:
    table = programme.lives
    panels = []
    for by, title in _BY.items():
        rows = table[table["by"] == by].head(_MOST_LEVELS)
        if len(rows) > 1 or (len(rows) and by == "preparation"):  # one row alone compares nothing
            panels.append(Panel(title, rows.assign(beside=rows["studies"].map(number))))
    if not panels:
        return Section("lives", en.LIVES)
    own = table[table["by"] == "preparation"].to_dict("records")  # the most alive first
    finding = (
        say(en.LIVES_FINDING, most=_alive_parts(own[0])["size"], least=_alive_parts(own[-1])["size"])
        if len(own) > 1
        else say(en.LIVES_ONE, method=Name(str(own[0]["level"])), **_alive_parts(own[0]))
    )
    axis = f"Alive per 100 at {programme.milestone}"
    fields = (
        *_OF_LEVELS,
        numbers("Alive per 100 (95 % CI)", *_LIMITS, write=alive_limits),
        numbers("Alive of known", "alive", "known", write=lambda *of: " of ".join(map(number, of))),
        numbers("Studies", "studies"),
    )
    shown = written("lives-table", en.LIVES, table[table["by"] != "all"], fields, row_heads=2)
    draw = partial(panels_of_rows, panels, axis)
    return Section(
        "lives",
        en.LIVES,
        (
            Figure("lives", en.LIVES_TITLE, finding, en.LIVES_CAPTION, draw, replace(shown, folded=True)),
            *([Paragraph(en.LIVES_NOTE, kind="small")] if per_100_rows(programme) else []),
        ),
    )


def _promised(programme: Programme) -> Section:
    rows = _verdicts(programme)
    if not rows or not int(rows["met"]["judged"]):
        return Section("targets", en.PROMISED)
    table = programme.targets
    panels = [Panel("Verdict", _beside(table[table["by"] == "all"].assign(level=table["verdict"])))]
    for by in ("organisation", "year"):
        own = table[(table["by"] == by) & (table["judged"] > 0)].head(_MOST_LEVELS)
        if (own["judged"] >= _FEW_TARGETS).any():  # a panel without any share shows nothing
            panels.append(Panel(f"Met, {_BY[by].lower()}", _beside(own.assign(targets=own["judged"]))))
    met = rows["met"]
    finding = say(en.PROMISED_FINDING, met=number(met["targets"]), judged=number(met["judged"]))
    fields = (
        *_OF_LEVELS,
        words("Verdict", "verdict"),
        numbers("Targets", "targets"),
        numbers("Judged", "judged"),
        numbers("Per 100 (95 % CI)", "judged", *_LIMITS, write=_share),
    )
    shown = replace(written("targets-table", en.PROMISED, table, fields, row_heads=2), folded=True)
    draw = partial(panels_of_rows, panels, "Per 100 targets judged")
    caption = en.PROMISED_CAPTION.format(few=_FEW_TARGETS)
    figure = Figure("targets", en.PROMISED_TITLE, finding, caption, draw, shown)
    return Section("targets", en.PROMISED, (figure,))


def _share(judged: float, *of: float) -> str:
    return en.FEW_TARGETS if judged < _FEW_TARGETS else alive_limits(*of)


def _beside(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows to draw with their numbers beside: of a target or two no share."""
    few = rows["judged"] < _FEW_TARGETS
    shares = {name: rows[name].mask(few) for name in ("estimate", "lower", "upper")}
    return rows.assign(beside=rows["targets"].map(number), **shares)


def _studies(programme: Programme) -> Section:
    rows = per_100_rows(programme)
    if not rows:
        return Section("studies", en.STUDIES)
    units = programme.units
    told = units[(units["scale"] == PER_100) & np.isfinite(units["estimate"])]
    apart, units_told = len(programme.apart), number(len(told))
    finding = (
        say(en.NO_APART)
        if not apart
        else say(en.STUDIES_ONE, units=units_told)
        if apart == 1
        else say(en.STUDIES_FINDING, apart=number(apart), units=units_told)
    )
    draw = partial(studies_figure, told, _drawn(rows), programme.apart)
    figure = Figure("studies", en.STUDIES_TITLE, finding, en.STUDIES_CAPTION, draw, None)
    lines: list[Text] = [
        say(
            en.APART,
            study=str(row["unit"]),
            method=Name(str(row["method"])),
            size=Value(number(row["estimate"], sign=True), row["estimate"]),
            expected=Value(number(row["expected"], sign=True), row["expected"]),
        )
        for row in programme.apart.to_dict("records")
    ]
    said = (Listing(tuple(lines)),) if lines else ()
    return Section("studies", en.STUDIES, (figure, *said, Paragraph(en.APART_HOW, kind="small")))


def _next(programme: Programme) -> Section:
    lines: list[Text] = []
    telling = (
        programme.worth[programme.worth["chance"] >= 1].head(2) if len(programme.worth) else programme.worth
    )
    # Ranked once, over all: by plants alive, so that one alone is worth most.
    for place, row in enumerate(telling.to_dict("records")):
        named = {"method": Name(str(row["method"])), "against": Name(str(row["against"]))}
        worth = Value(number(row["value"], 1) if row["value"] >= 0.05 else "under 0.1", row["value"])
        lines.append(
            (
                say(en.NEXT_THEN if place else en.NEXT_MOST, worth=worth, **named),
                say(en.NEXT_CHANCE, chance=number(row["chance"])),
            )
        )
    if len(programme.worth) and not len(telling):
        lines.append(say(en.NEXT_NOTHING))
    if len(programme.of_state("used")) < 2:
        return Section("next", en.NEXT)
    few = programme.untried[programme.untried["studies"] < _FEW].sort_values("studies", kind="stable")
    for row in few.head(4).to_dict("records"):
        studies = _studies_words(row["studies"]) if row["studies"] else "no study"
        lines.append(
            say(en.NEXT_GAP, method=Name(str(row["method"])), ground=str(row["ground"]), studies=studies)
        )
    if len(programme.untried) and few.empty:
        lines.append(say(en.NEXT_NO_GAP))
    return Section("next", en.NEXT, (Listing(tuple(lines)),) if lines else ())


def _watched(programme: Programme) -> Section:
    table = programme.watched
    if table.empty:
        return Section("planted", en.WATCHED)
    totals = (
        table.groupby("organisation")[["seedlings", "studies"]]
        .sum()
        .sort_values("seedlings", ascending=False)
    )
    shown = list(totals.index[:_MOST_PANELS])
    drawn = table[table["organisation"].isin(shown)].sort_values(
        "organisation", key=lambda names: names.map(shown.index), kind="stable"
    )
    most = totals.iloc[0]
    finding = say(
        en.WATCHED_FINDING if len(totals) > 1 else en.WATCHED_ONE,
        organisation=str(totals.index[0]),
        seedlings=number(most["seedlings"]),
        studies=_studies_words(most["studies"]),
    )
    draw = partial(plantings_figure, drawn)
    fields = (
        words("Organisation", "organisation"),
        words("Year", "year"),
        *(numbers(capital(name), name) for name in ("studies", "sites", "plots", "seedlings")),
    )
    seasons = replace(written("planted-table", en.WATCHED, table, fields, row_heads=2), folded=True)
    figure = Figure("planted", en.WATCHED_TITLE, finding, en.WATCHED_CAPTION, draw, seasons)
    return Section("planted", en.WATCHED, (figure,))


def _left(programme: Programme) -> Section:
    left = programme.left
    if left.empty:
        return Section("left", en.LEFT, (Paragraph(en.LEFT_NONE),))
    pairs: dict[str, list[str]] = {}
    for row in left.to_dict("records"):
        reason = str(row["reason"])
        said = capital(reason) if row["state"] == "not used" else en.LEFT_WAITING.format(reason=reason)
        pairs.setdefault(said, []).append(str(row["study"]))
    terms = tuple((reason, first_few(names, 6)) for reason, names in list(pairs.items())[:_MOST_LEFT])
    return Section("left", en.LEFT, (Terms(terms), Paragraph(en.LEFT_MEND, kind="small")))


def _methods(programme: Programme, digest: str) -> Section:
    parts = {"milestone": programme.milestone, "smallest": plain(programme.smallest)}
    told = (*en.HOW, *(en.HOW_POOLED if per_100_rows(programme) else ()))
    how = tuple(line.format(**parts) for line in told)
    notes = sorted({record.reason for record in programme.of_state("used") if record.reason})
    about = en.PROVENANCE.format(version=__version__, digest=digest)
    return Section(
        "methods", en.METHODS, (Listing((*how, *map(capital, notes))), Paragraph(about, kind="small"))
    )
