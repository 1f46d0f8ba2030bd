"""The first screen: the answer, for a reader with one minute."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.analysis.milestone import milestone_words, reached
from survivor.figures.comparison import survival_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import cost_limits, money, number, per_100, per_100_limits
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table, Terms
from survivor.report.content.reasons import (
    allocation,
    between_sites,
    is_random,
    no_usual_practice,
    usual_practice,
    why,
)
from survivor.report.content.wording import counted, listed, plain, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.evidence import Finding
    from survivor.records import Records

KEY = "answer"
QUESTIONS = "questions"


def answer(analysis: Analysis) -> Section:
    """Return the first screen: headline, how sure, the target's verdict, one picture."""
    blocks: list[Block] = []
    heading = "The answer"
    if analysis.findings:
        first = analysis.findings[0]
        heading = first.question
        lead, rest = opening(first.answer)
        if first.grade == "unanswered":
            lead, rest = "These records cannot say.", sentence(first.answer)
        blocks.append(Paragraph(lead, kind="lead"))
        if rest:
            blocks.append(Paragraph(rest))
        blocks.append(Paragraph(how_sure(first), label=sure_of(first, analysis.findings)))
    else:
        said = why(analysis, otherwise="No question could be answered from these records")
        blocks.append(Paragraph(said, kind="lead"))
    for finding in analysis.findings[1:]:
        if finding.key == "target":
            blocks.append(Paragraph(target_words(finding), label="Target"))
    if analysis.found_first:
        blocks.append(
            Paragraph(
                "Most seedlings are not known to have been tagged at planting, so numbers are of seedlings "
                "found alive at the first visit of their plot. Those that had died before it are not "
                "counted: survival of planted is lower.",
                kind="note",
                label="Not survival of planted",
            )
        )
    blocks.extend(no_usual_practice(analysis))
    if not is_random(analysis):
        blocks.append(allocation(analysis))
    figure = survival_picture(analysis)
    if figure is not None:
        blocks.append(figure)
    else:
        said = why(analysis, "survival", otherwise="Survival by preparation could not be estimated")
        blocks.append(Paragraph(said, kind="note", label="No picture"))
    blocks.extend(between_sites(analysis))
    about_records = records_line(analysis)
    if about_records is not None:
        blocks.append(about_records)
    return Section(KEY, heading, tuple(blocks))


def opening(text: str) -> tuple[str, str]:
    """Return the first sentence, to be read at a glance, and the rest."""
    lead, stop, rest = sentence(text).partition(". ")
    return (f"{lead}.", rest) if stop else (lead, "")


def sure_of(finding: Finding, findings: Sequence[Finding]) -> str:
    """Say what a grade is of: where an answer leads with one of several comparisons, of that one.

    Its words hold the others too, some with a grade of their own or read otherwise by another rule.
    """
    # A comparison is named by its two preparations, and leads an answer that begins with its words.
    each = [one for one in findings if one.key == " against ".join(one.methods)]
    leads = [one for one in each if finding.key == "headline" and finding.answer.startswith(one.answer)]
    others = [one for one in each if one not in leads and one.grade != finding.grade]
    return "How sure of the first of these" if leads and others else "How sure"


def how_sure(finding: Finding) -> str:
    """Return the grade in words with its reasons."""
    reasons = " ".join(sentence(reason) for reason in finding.reasons)
    return f"{finding.grade.capitalize()}. {reasons}".strip()


def target_words(finding: Finding) -> str:
    """Return the verdict on a target, one of three, or that there is none, and the sentence behind it."""
    word = finding.verdict or "Cannot be said"
    return f"{word.capitalize()}. {sentence(finding.answer)}"


def survival_picture(analysis: Analysis) -> Figure | None:
    """Return survival per method at the milestone with limits, and the cost beside it."""
    if analysis.survival is None:
        return _counted_picture(analysis)
    table = analysis.survival.table.sort_values("estimate", ascending=False, kind="stable")
    usual = usual_practice(analysis)
    costs = analysis.payoff.table if analysis.payoff is not None else None
    milestone = analysis.settings.headline_milestone
    when = milestone_words(milestone, analysis.milestone_day)
    target = analysis.settings.target
    asked = target is not None and target.milestone == milestone.name
    promised = (
        target.survival_per_100
        if target is not None
        and asked
        and reached(milestone, analysis.milestone_day)
        and not analysis.found_first  # promised of those planted
        else None
    )
    best = table.iloc[0]
    absent = _absent(analysis, table)
    finding = (
        f"Highest{' shown' if absent else ''}: {best['method']}, {per_100(best['estimate'])} alive per "
        f"100 planted "
        f"({per_100_limits(best['lower'], best['upper'])})."
    )
    caption = (
        f"Dot: alive per 100 planted, {number(analysis.milestone_day)} days after planting, had every plant "
        f"{averaged_over(analysis)} had that preparation. Line: 95 % limits."
    )
    if usual is not None:
        caption += f" Hollow dot, broken line: the usual practice, {usual}."
    if costs is not None and not costs.empty:
        caption += " Amounts: cost per plant established, with 95 % limits."
    if _told_at_some_sites(analysis):
        caption += (
            " A difference in the words above is told at the sites where both preparations stood, so it need "
            "not equal the difference of two dots, which are averaged over all sites."
        )
    if absent:
        caption += f" Not shown, since its survival cannot be told from that of its sites: {listed(absent)}."
    return Figure(
        key="survival",
        title=f"Alive at {when}, by preparation",
        finding=finding,
        caption=caption,
        draw=partial(_draw, table, costs, usual, promised),
        table=_survival_table(analysis, table, costs, when),
    )


def _told_at_some_sites(analysis: Analysis) -> bool:
    """Whether some comparison leaves out sites that the picture averages over."""
    if analysis.contrasts is None:
        return False
    return bool((analysis.contrasts.table["n_sites"] < analysis.records.plots["site"].nunique()).any())


def _absent(analysis: Analysis, table: pd.DataFrame) -> list[str]:
    """Return preparations of the records that the average does not hold."""
    shown = set(table["method"].astype(str))
    seen = dict.fromkeys(analysis.records.intervals["method"].astype(str))
    return [name for name in seen if name not in shown]


def _counted_picture(analysis: Analysis) -> Figure | None:
    """Return survival per method as counted, where no model could average it over sites."""
    curves = analysis.curves
    if curves is None or curves.table.empty:
        return None
    day = analysis.milestone_day
    read = curves.read(day)
    group = str(read.columns[0])
    table = pd.DataFrame(
        {
            "method": read[group].astype(str),
            "estimate": 100 * read["survival"],
            "lower": 100 * read["lower"],
            "upper": 100 * read["upper"],
            "at_risk": read["at_risk"],
        }
    )
    table = table[table["estimate"].notna()].sort_values("estimate", ascending=False, kind="stable")
    if table.empty:
        return None
    best = table.iloc[0]
    when = milestone_words(analysis.settings.headline_milestone, day)
    columns = (
        Column("Preparation"),
        Column("Alive per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Seedlings watched to that day", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            per_100(float(row["estimate"])),
            per_100_limits(float(row["lower"]), float(row["upper"])),
            number(float(row["at_risk"])),
        )
        for row in table.to_dict("records")
    )
    return Figure(
        key="survival",
        title=f"Alive at {when}, by preparation, as counted",
        finding=(
            f"Highest: {best['method']}, {per_100(best['estimate'])} alive per 100 planted "
            f"({per_100_limits(best['lower'], best['upper'])})."
        ),
        caption=(
            f"Dot: alive per 100 planted, {number(day)} days after planting, as counted; "
            "line: 95 % limits. Sites are not evened out here, so this ranks the sites that each preparation "
            "stood at as much as the preparations."
        ),
        draw=partial(_draw, table.drop(columns="at_risk"), None, usual_practice(analysis), None),
        table=Table("survival-table", "Survival by preparation, as counted", columns, rows),
    )


def _draw(
    table: pd.DataFrame, costs: pd.DataFrame | None, usual: str | None, promised: float | None, size: Size
) -> Drawing:
    return survival_figure(table, costs, usual=usual, target=promised, size=size)


def averaged_over(analysis: Analysis) -> str:
    """Say which plants survival is averaged over: the whole planting, or those watched."""
    planted = analysis.settings.planted
    if not planted:
        return "watched in these records"
    total = sum(line.plants for line in planted)
    return f"put in over the whole planting ({number(total)} by the study file)"


def _survival_table(analysis: Analysis, table: pd.DataFrame, costs: pd.DataFrame | None, when: str) -> Table:
    columns = [
        Column("Preparation"),
        Column("Alive per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
    ]
    prices: dict[str, tuple[str, str]] = {}
    if costs is not None and not costs.empty:
        columns += [Column("Cost per plant established", True), Column("95 % limits of cost", True)]
        for row in costs.to_dict("records"):
            prices[str(row["method"])] = (
                money(float(row["cost_per_established"]), str(row["currency"])),
                cost_limits(float(row["lower"]), float(row["upper"])),
            )
    # Deaths to the milestone, not those of later visits: they stand beside survival at it.
    died = {str(row["method"]): float(row["died"]) for row in analysis.counted.to_dict("records")}
    heads = ("Seedlings", f"Died by {_by(when)}", "Plots", "Sites")
    columns += [Column(name, numeric=True) for name in heads]
    rows = []
    for row in table.to_dict("records"):
        name = str(row["method"])
        price = prices.get(name, ("–", "–")) if prices else ()
        rows.append(
            (
                name,
                per_100(float(row["estimate"])),
                per_100_limits(float(row["lower"]), float(row["upper"])),
                *price,
                number(float(row["n_seedlings"])),
                number(died.get(name, float("nan"))),
                number(float(row["n_plots"])),
                number(float(row["n_sites"])),
            )
        )
    note = (
        "Seedlings, deaths, plots and sites are those of the records. Alive per 100 is what the model "
        f"expects had every plant {averaged_over(analysis)} had that preparation, sites and species alike "
        f"for all; it need not equal the plain share.{_plainly_counted(analysis)}"
    )
    return Table("survival-table", "Survival by preparation", tuple(columns), tuple(rows), note=note)


def _by(when: str) -> str:
    """Write a milestone, or the day that stands for it, in the heading of a column."""
    return when.partition(" (")[0]


def _plainly_counted(analysis: Analysis) -> str:
    """Give the plain count of all preparations beside the averaged numbers."""
    rows = analysis.measures
    if rows.empty:
        return ""
    plain_count = rows[rows["measure"] == "survival of planted"]
    if plain_count.empty:
        return ""
    alive, of, share = (float(plain_count.iloc[0][name]) for name in ("alive", "of", "estimate"))
    tagged = analysis.settings.records.kind == "tagged"
    lost = "plants not found count as not alive in that, and " if tagged else ""
    return (
        f" Plainly counted, {number(alive)} of {number(of)} planted in the plots were seen alive then or "
        f"later ({per_100(share)} in 100), all preparations together; {lost}no site or species is evened out."
    )


def questions(analysis: Analysis) -> Section:
    """Return every question asked, with its answer, how sure it is and what would make it surer."""
    heading = "Every question asked"
    if not analysis.findings:
        return Section(QUESTIONS, heading, (Paragraph("No question could be answered."),))
    design = analysis.settings.design
    text = (
        "How sure an answer is has one of four words: firm, fair, slight, unanswered. The rule is under "
        "“How this was worked out”. The smallest difference worth having was set at "
        f"{plain(design.smallest_difference)} per 100 planted."
    )
    told = tuple(_question(finding, analysis.findings) for finding in analysis.findings)
    return Section(QUESTIONS, heading, (Paragraph(text), Terms(told)))


def _question(finding: Finding, findings: Sequence[Finding]) -> tuple[str, str]:
    """Return a question, and under it the answer and a second line on how sure it is."""
    sure = f"{sure_of(finding, findings)}: {finding.grade}."
    if finding.raise_it:
        sure += f" Surer with: {'; '.join(finding.raise_it)}."
    return finding.question, f"{sentence(finding.answer)}\n{sure}"


def extent(analysis: Analysis) -> str:
    """Return how many seedlings, plots and sites the answers rest on."""
    plots = analysis.records.plots
    n_plots = len(plots[["site", "block", "plot"]].drop_duplicates())
    planted = plots["planted"] if "planted" in plots else pd.Series(dtype=float)
    watched = float(analysis.counted["watched"].sum()) if not analysis.counted.empty else 0.0
    if analysis.found_first:
        seedlings = counted(watched, "seedling", "seedlings") + " found at the first visit"
    elif len(planted) and planted.notna().all():
        seedlings = counted(float(planted.sum()), "seedling planted", "seedlings planted")
    else:
        seedlings = counted(watched, "seedling", "seedlings") + " watched"
    return ", ".join([seedlings, counted(n_plots, "plot"), counted(plots["site"].nunique(), "site")])


def records_line(analysis: Analysis) -> Paragraph | None:
    """Say how many records were not used, or call for a look, and where they are listed."""
    text = records_words(analysis.records)
    return Paragraph(text, kind="small", label="Records", see="problems") if text else None


def records_words(records: Records) -> str:
    """Say in a sentence what became of the records: read, used, listed, set aside; problems by weight."""
    parts = []
    if not records.accounts.empty:
        fates = records.accounts["fate"].astype(str).value_counts(sort=False)
        total = counted(float(fates.sum()), "record was", "records were")
        told = [f"{number(float(count))} {fate}" for fate, count in fates.items()]
        parts.append(f"{total} read: {listed(told)}.")
    if not records.problems.empty:
        weights = records.problems["severity"].astype(str).value_counts()
        words = {"stop": "to be mended first", "check": "to look at", "note": "worth knowing"}
        told = [f"{number(float(weights[name]))} {text}" for name, text in words.items() if name in weights]
        total = counted(float(len(records.problems)), "problem was", "problems were")
        parts.append(f"{total} found: {listed(told)}.")
    return " ".join(parts)
