"""A guideline as headings, sentences, tables and figures, without markup."""

from __future__ import annotations

from collections.abc import Sequence

from survivor.figures.guideline import advice_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import difference, number
from survivor.guideline.advice import THESE_SITES, Advice
from survivor.guideline.calendar import calendar_table
from survivor.guideline.file import Row
from survivor.guideline.making import Guideline
from survivor.guideline.rule import ANSWERS, NOT_ANSWERED, bounds_of
from survivor.guideline.versions import many, size_words
from survivor.guideline.wording import (
    HOW_TO_READ,
    LEAST_WORTH,
    NO_INSTRUCTION,
    cautions_touched,
    data_note,
    money_note,
    next_sentence,
    radius_words,
    usual_of,
)
from survivor.report.content.cautions import CAUTIONS
from survivor.report.content.elements import (
    Block,
    Column,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
)

SUBJECT = "local preparation guideline"


def content_of(guideline: Guideline) -> Report:
    """Return the whole guideline, the advice first."""
    about = guideline.file.guideline
    lines = [f"Version {about.version}, {about.dated}"]
    if about.district:
        lines.append(about.district)
    lines.append(f"Rests on {data_note(guideline)}")
    sections = (
        _details(guideline),
        _seasons(guideline),
        _radius(guideline),
        _practice(guideline),
        _calendar(guideline),
        _next(guideline),
        _changes(guideline),
        _rule(guideline),
        _cautions(guideline),
        _provenance(guideline),
    )
    return Report(about.name, tuple(lines), _answer(guideline), sections, subject=SUBJECT, called="guideline")


def matrix(guideline: Guideline) -> Table:
    """Return advice by kind of ground and preparation, in words."""
    grounds = [ground.name for ground in guideline.file.ground]
    told = {(each.ground, each.preparation): each.answer for each in guideline.advice}
    names = list(dict.fromkeys(each.preparation for each in guideline.advice))
    rows = [(name, *(told.get((ground, name), NOT_ANSWERED) for ground in grounds)) for name in names]
    return Table(
        "advice-table",
        f"Advice by kind of ground, against {usual_of(guideline)}",
        (Column("Preparation"), *(Column(ground) for ground in grounds)),
        tuple(rows),
    )


def lead(guideline: Guideline) -> str:
    """Say what is advised and what is not, kind by kind, with limits and what it rests on."""
    parts = []
    for ground in guideline.file.ground:
        own = [each for each in guideline.advice if each.ground == ground.name]
        if not any(each.answer == "advised" for each in own):
            parts.append(f"On {ground.name} nothing is advised yet in place of {usual_of(guideline)}.")
        for answer in ("advised", "not advised"):
            said = "; ".join(_in_lead(each, guideline.rule) for each in own if each.answer == answer)
            if said:
                parts.append(f"{answer.capitalize()} on {ground.name}: {said}.")
    return " ".join(parts)


def _in_lead(each: Advice, rule: Sequence[Row]) -> str:
    assert each.estimate is not None, "advice rests on an estimate"
    assert each.lower is not None, "with its limits"
    assert each.upper is not None, "with its limits"
    said, span = difference(each.estimate, each.lower, each.upper, marks=bounds_of(rule))
    which = "more" if each.estimate > 0 else "fewer"
    rests = f"{many(each.n_seasons, 'season')}, {many(each.n_sites, 'site')}"
    return f"{each.preparation}, {said.lstrip('+−')} {which} alive per 100 planted ({span}; {rests})"


def _answer(guideline: Guideline) -> Section:
    about = guideline.file.guideline
    blocks: list[Block] = [
        Paragraph(lead(guideline), kind="lead"),
        Paragraph(
            f"Differences are plants alive per 100 planted at {about.milestone}, against "
            f"{usual_of(guideline)}, with "
            f"95 % limits. {HOW_TO_READ}"
        ),
        matrix(guideline),
        Paragraph(NO_INSTRUCTION, kind="note", label="Before acting on this", see="cautions"),
    ]
    newest = guideline.changes[0]
    if newest.number > 1:
        moved = newest.moved or ("No advice changed.",)
        blocks.append(Listing((*moved, *newest.stood), label=f"What version {newest.number} changed"))
    blocks.append(_figure(guideline))
    return Section("answer", "What to do where", tuple(blocks))


def _figure(guideline: Guideline) -> Figure:
    table = guideline.table
    smallest = guideline.file.guideline.smallest_difference

    def draw(size: Size) -> Drawing:
        return advice_figure(table, smallest, bounds_of(guideline.rule), size=size)

    counts = [f"{sum(each.answer == answer for each in guideline.advice)} {answer}" for answer in ANSWERS]
    finding = f"Of {many(len(table), 'comparison')}: {', '.join(counts)}."
    rows = tuple(
        (each.preparation, each.ground, size_words(each, guideline.rule), each.of or "–", each.answer)
        for each in guideline.advice
    )
    numbers = Table(
        "differences-numbers",
        "Differences per 100 planted, with 95 % limits",
        (
            Column("Preparation"),
            Column("Ground"),
            Column("Difference"),
            Column("Limits for"),
            Column("Advice"),
        ),
        rows,
    )
    caption = (
        f"Each line spans the 95 % limits. The band holds differences smaller than {number(smallest)} per "
        "100, not "
        "worth having. Hollow marks are not answered or worth a trial."
    )
    return Figure("differences", "Difference made by each preparation", finding, caption, draw, numbers)


def details_table(guideline: Guideline) -> Table:
    """Return size, limits, cost and grade behind each piece of advice."""
    currencies = {each.currency for each in guideline.advice if each.currency}
    of = f" ({next(iter(currencies))})" if len(currencies) == 1 else ""
    columns = (
        Column("Ground"),
        Column("Preparation"),
        Column("Advice"),
        Column("Difference per 100 (95 % limits)", numeric=True),
        Column("Seasons, sites, plots"),
        Column(f"Extra cost per plant{of}", numeric=True),
        Column(f"Cost per plant established{of}, 95 % limits", numeric=True),
        Column("Grade"),
    )
    rows = tuple(
        (
            each.ground,
            each.preparation,
            each.answer,
            size_words(each, guideline.rule).replace(" per 100", "")
            + (f", {each.of} only" if each.of == THESE_SITES else ""),
            f"{each.n_seasons}, {each.n_sites}, {each.n_plots}" if each.estimate is not None else "–",
            _extra(each, bool(of)),
            (each.per_established.removesuffix(each.currency).strip() if of else each.per_established) or "–",
            each.grade,
        )
        for each in guideline.advice
    )
    told = [each.n_seedlings for each in guideline.advice if each.estimate is not None]
    seedlings = f"{min(told):,} to {max(told):,} seedlings a comparison. " if told else ""
    note = (
        f"{seedlings}Plots are those of both preparations at sites that hold both. Limits are for sites "
        "like these "
        f"unless these sites only are named.{money_note(guideline)}"
    )
    return Table(
        "details-table", "What stands behind each piece of advice", columns, rows, row_heads=2, note=note
    )


def _details(guideline: Guideline) -> Section:
    why = tuple(
        (
            f"{each.preparation} on {each.ground}: {each.answer}",
            f"{each.held[0].upper()}{each.held[1:]}.\n{each.grade.capitalize()}: {'; '.join(each.reasons)}."
            + (f"\nWhat would make it surer: {'; '.join(each.raise_it)}." if each.raise_it else ""),
        )
        for each in guideline.advice
    )
    blocks: list[Block] = [details_table(guideline)]
    if guideline.unplaced:
        sites = ", ".join(guideline.unplaced)
        blocks.append(
            Paragraph(f"Some plots lie on none of these kinds of ground and are left out: {sites}.")
        )
    return Section("details", "Size, limits, cost and grade", (*blocks, Terms(why, label="Why")))


def _extra(each: Advice, bare: bool) -> str:
    if each.extra_cost is None:
        return "–"
    return f"{number(each.extra_cost, 2, sign=True)} {'' if bare else each.currency}".strip()


def _seasons(guideline: Guideline) -> Section:
    rows = []
    for each in guideline.advice:
        for says in each.seasons:
            alone = Advice(
                each.ground,
                each.preparation,
                each.against,
                each.answer,
                "",
                says.estimate,
                says.lower,
                says.upper,
            )
            rows.append((each.ground, each.preparation, says.season, size_words(alone), str(says.n_sites)))
        if each.new_lower is not None and each.new_upper is not None:
            span = f"{number(each.new_lower, sign=True)} to {number(each.new_upper, sign=True)}"
            rows.append((each.ground, each.preparation, "a new season may show", span, ""))
    table = Table(
        "seasons-table",
        "Each season alone, limits by plot, and what a new season may show",
        (
            Column("Ground"),
            Column("Preparation"),
            Column("Season"),
            Column("Difference per 100 (95 % limits)", numeric=True),
            Column("Sites", numeric=True),
        ),
        tuple(rows),
        row_heads=3,
        note="A season alone looks at many comparisons: some differ by chance. Limits of a new season "
        "allow for how "
        "seasons differ, which few seasons tell badly; limits of the advice take sites of one season as "
        "independent.",
    )
    return Section("seasons", "Season by season", (table,))


def _radius(guideline: Guideline) -> Section:
    pairs = tuple((each.ground, radius_words(each)) for each in guideline.radius)
    return Section("radius", "Weed-free radius", (Terms(pairs),))


def _practice(guideline: Guideline) -> Section:
    practice = guideline.file.practice
    if not practice:
        return Section("practice", "Local practice without data", (Paragraph("None is entered."),))
    table = Table(
        "practice-table",
        "Done here; these records say nothing of it",
        (Column("Preparation"), Column("Ground"), Column("What is done"), Column("Who says so")),
        tuple((each.preparation, each.ground, each.says, each.source) for each in practice),
    )
    apart = Paragraph(
        "This stands apart: it was told, not measured, and the rule of advice was not applied to it."
    )
    return Section("practice", "Local practice without data", (apart, table))


def _calendar(guideline: Guideline) -> Section:
    return Section("calendar", "When to start", (calendar_table(guideline),))


def _next(guideline: Guideline) -> Section:
    table = guideline.next
    if table.empty:
        return Section(
            "next", "What to try next", (Paragraph("No comparison has an estimate to start from."),)
        )
    worth = table[table["value_per_100"] >= LEAST_WORTH]
    if worth.empty:
        return Section("next", "What to try next", (Paragraph(next_sentence(guideline)),))
    rows = tuple(
        (
            str(line["ground"]),
            str(line["preparation"]),
            str(line["answer"]),
            number(float(line["value_per_100"]), 2),
            number(float(line["value_plants"])),
            number(float(line["chance_per_100"])),
        )
        for line in worth.to_dict("records")
    )
    left = len(table) - len(worth)
    less = f" Left out: {many(left, 'comparison')} worth under 0.01 per 100." if left else ""
    shown = Table(
        "next-table",
        "Comparisons by what a further season would be worth",
        (
            Column("Ground"),
            Column("Preparation"),
            Column("Advice now"),
            Column("Worth, plants alive per 100 planted", numeric=True),
            Column("Worth, plants alive a year", numeric=True),
            Column("Chance in 100 that the choice changes", numeric=True),
        ),
        rows,
        row_heads=2,
        note="Expected gain, by the normal approximation, from choosing after another season at as many "
        "sites as "
        "before rather than now; one comparison at a time, against the smallest difference worth having."
        + less,
    )
    return Section("next", "What to try next", (Paragraph(next_sentence(guideline)), shown))


def _changes(guideline: Guideline) -> Section:
    parts = []
    for change in guideline.changes:
        items = (*change.also, *change.moved)
        blocks: list[Block] = [Listing(items)]
        if change.stood:
            blocks.append(
                Listing(change.stood, label="Did not change, though one season alone looked otherwise")
            )
        dated = f", {change.dated}" if change.dated else ""
        parts.append(Section(f"version-{change.number}", f"Version {change.number}{dated}", tuple(blocks)))
    return Section("changes", "Change log", (), tuple(parts))


def _rule(guideline: Guideline) -> Section:
    rows = tuple(tuple(line.split(": ", 1)) for line in guideline.version.rule)
    rows = (*rows, (NOT_ANSWERED, "where no row above holds, or the grade is unanswered"))
    table = Table(
        "rule-table",
        "The first row of which everything holds gives the advice",
        (Column("Advice"), Column("Asks for all of")),
        rows,
        note="p is adjusted for the number of preparations on one kind of ground (Holm). Seasons are "
        "looked at again "
        "with every version, which no p allows for: one more reason to lean to not answered.",
    )
    return Section("rule", "The rule of advice", (table,))


def _cautions(guideline: Guideline) -> Section:
    pairs = tuple((caution.subject, caution.said_in("guideline")) for caution in CAUTIONS)
    return Section(
        "cautions", "Cautions", (Paragraph(f"{NO_INSTRUCTION} {cautions_touched(guideline)}"), Terms(pairs))
    )


def _provenance(guideline: Guideline) -> Section:
    pairs = tuple(guideline.provenance.items())
    return Section("provenance", "Where this comes from", (Terms(pairs, code=True),))
