"""A guideline as headings, sentences, tables and figures, without markup."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

from survivor.document.elements import (
    Block,
    Column,
    Figure,
    Link,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
)
from survivor.evidence.finding import as_sentences
from survivor.figures.comparison import advice_figure
from survivor.guideline import english as en
from survivor.guideline.advice import Advice, Beside, Established, not_checked
from survivor.guideline.file import Row
from survivor.guideline.making import Guideline
from survivor.guideline.rule import ANSWERS, NOT_ANSWERED, bounds_of
from survivor.guideline.versions import size_words
from survivor.guideline.wording import (
    LEAST_WORTH,
    calendar_table,
    cautions_touched,
    data_note,
    money_note,
    next_sentence,
    power_words,
    radius_words,
    usual_of,
)
from survivor.report.cautions import CAUTIONS
from survivor.sentences import NEW_LINE, Cell, Name, Sentence, Value, cell, say
from survivor.words import counted, difference, listed, number, sentence

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
        *_works(guideline),
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
    answers = {(row.ground, row.preparation): row.answer for row in guideline.advice}
    names = list(dict.fromkeys(row.preparation for row in guideline.advice))
    rows = [(name, *(answers.get((ground, name), NOT_ANSWERED) for ground in grounds)) for name in names]
    return Table(
        "advice-table",
        f"Advice by kind of ground, against {usual_of(guideline)}",
        (Column("Preparation"), *(Column(ground) for ground in grounds)),
        tuple(rows),
    )


_CHECKS: Final = 4  # names of rules in one sentence
_IN_LEAD: Final = (
    ("advised", en.ADVISED),
    ("worth a trial", en.TRIAL),
    ("not advised", en.NOT_ADVISED),
)


def lead(guideline: Guideline) -> tuple[tuple[Sentence, ...], ...]:
    """Say what is advised and what is not, a paragraph a kind of ground; in these seasons and a new one."""
    paragraphs = []
    for ground in guideline.file.ground:
        own = [each for each in guideline.advice if each.ground == ground.name]
        said: list[Sentence] = []
        if not any(each.answer == "advised" for each in own):
            said.append(say(en.NOTHING, ground=ground.name, usual=Name(usual_of(guideline))))
        for answer, words in _IN_LEAD:
            for each in own:
                if each.answer == answer:
                    said += _in_lead(each, words, guideline.rule)
        said += [one for each in own for beside in each.beside for one in _against(each, beside)]
        paragraphs.append(tuple(said))
    return tuple(paragraphs)


def _in_lead(each: Advice, words: str, rule: Sequence[Row]) -> list[Sentence]:
    assert each.estimate is not None, "advice rests on an estimate"
    assert each.lower is not None, "with its limits"
    assert each.upper is not None, "with its limits"
    size, span = difference(each.estimate, each.lower, each.upper, marks=bounds_of(rule))
    at = {name: _cell(each, name) for name in ("estimate", "lower", "new_season_lower")}
    said = [
        say(
            words,
            ground=each.ground,
            method=Name(each.preparation),
            size=Value(size.lstrip("+−"), each.estimate, at["estimate"], -1.0 if each.estimate < 0 else 1.0),
            which="more" if each.estimate > 0 else "fewer",
            span=Value(f"95 % CI {span}", each.lower, at["lower"]),
        )
    ]
    if each.new_lower is not None:
        said.append(say(en.NEW_SEASON, span=Value(new_season(each), each.new_lower, at["new_season_lower"])))
    if each.answer == "advised" and each.dearer and each.established and each.usual_established:
        cost, usual = (number(one.cost, 2) for one in (each.established, each.usual_established))
        said.append(say(en.DEARER, cost=cost, usual=usual, currency=each.currency))
    return said


def _cell(each: Advice, column: str) -> Cell:
    return cell("advice", column, ground=each.ground, preparation=each.preparation)


def _against(each: Advice, beside: Beside) -> list[Sentence]:
    """Set two that are advised on one ground beside each other."""
    size, span = difference(beside.estimate, beside.lower, beside.upper)
    said = [
        say(
            en.OF_TWO,
            method=Name(each.preparation),
            other=Name(beside.preparation),
            size=Value(size, beside.estimate),
            span=Value(f"95 % CI {span}", beside.lower),
        )
    ]
    return said if beside.lower > 0 or beside.upper < 0 else [*said, say(en.WHICH_OPEN)]


def new_season(each: Advice) -> str:
    """Write the limits of the difference in a new season like these; a dash where they are not told."""
    if each.new_lower is None or each.new_upper is None:
        return "–"
    return f"{number(each.new_lower, sign=True)} to {number(each.new_upper, sign=True)}"


def _answer(guideline: Guideline) -> Section:
    about = guideline.file.guideline
    blocks: list[Block] = [
        *(Paragraph(text, kind="lead") for text in lead(guideline)),
        Paragraph(
            (
                say(en.DIFFERENCES, when=about.milestone, usual=Name(usual_of(guideline))),
                say(en.REST_ON, data=data_note(guideline)),
                say(en.HOW_TO_READ),
            )
        ),
        matrix(guideline),
        Paragraph(
            en.NO_INSTRUCTION, kind="note", label="Before acting on this", see=Link("Cautions", "#cautions")
        ),
    ]
    newest = guideline.changes[0]
    if newest.number > 1:
        moved = newest.moved or (en.NOTHING_MOVED,)
        blocks.append(Listing((*moved, *newest.stood), label=f"What version {newest.number} changed"))
    blocks.append(figure_of(guideline))
    return Section("answer", "What to do where", tuple(blocks))


def figure_of(guideline: Guideline) -> Figure:
    """Return every difference of the guideline with its limits, and its advice in words."""
    table = guideline.table
    smallest = guideline.file.guideline.smallest_difference

    draw = partial(advice_figure, table, smallest, bounds_of(guideline.rule))
    counts = [f"{sum(each.answer == answer for each in guideline.advice)} {answer}" for answer in ANSWERS]
    finding = en.FIGURE.format(comparisons=counted(len(table), "comparison"), counts=", ".join(counts))
    rows = tuple(
        (row.preparation, row.ground, size_words(row, guideline.rule), new_season(row), row.answer)
        for row in guideline.advice
    )
    numbers = Table(
        "differences-numbers",
        "Differences per 100 planted, with 95 % CI",
        (
            Column("Preparation"),
            Column("Ground"),
            Column("Difference"),
            Column("In a new season like these"),
            Column("Advice"),
        ),
        rows,
    )
    caption = en.FIGURE_CAPTION.format(smallest=number(smallest))
    return Figure("differences", "Difference made by each preparation", finding, caption, draw, numbers)


def details_table(guideline: Guideline) -> Table:
    """Return size in these seasons and in a new one, and the strength of evidence, behind each advice."""
    columns = (
        Column("Ground"),
        Column("Preparation"),
        Column("Advice"),
        Column("In these seasons (95 % CI)", numeric=True),
        Column("In a new season like these", numeric=True),
        Column("Evidence"),
        Column("Seasons", numeric=True),
        Column("Sites", numeric=True),
        Column("Plots", numeric=True),
    )
    rows = tuple(
        (
            row.ground,
            row.preparation,
            row.answer,
            size_words(row, guideline.rule).replace(" per 100", ""),
            new_season(row),
            row.strength,
            *(map(str, (row.n_seasons, row.n_sites, row.n_plots)) if row.estimate is not None else "–––"),
        )
        for row in guideline.advice
    )
    told = [each.n_seedlings for each in guideline.advice if each.estimate is not None]
    note = [en.DETAILS_NOTE]
    if told:
        note.append(en.SEEDLINGS.format(least=number(min(told)), most=number(max(told))))
    checks = not_checked()
    for place in range(0, len(checks), _CHECKS):
        words = en.NOT_CHECKED_TOO if place else en.NOT_CHECKED
        note.append(words.format(checks=listed(checks[place : place + _CHECKS])))
    return Table(
        "details-table", "What stands behind each piece of advice", columns, rows, 2, note=" ".join(note)
    )


def money_table(guideline: Guideline) -> Table | None:
    """Return what each preparation costs beside the usual practice; None without prices."""
    priced = [row for row in guideline.advice if row.extra_cost is not None]
    if not priced:
        return None
    columns = (
        Column("Ground"),
        Column("Preparation"),
        Column("Extra cost per plant", numeric=True),
        Column("Cost of each extra plant alive", numeric=True),
        Column("Cost of an established plant (range)", numeric=True),
    )
    rows: list[tuple[str, ...]] = []
    for ground in guideline.file.ground:
        own = [row for row in priced if row.ground == ground.name]
        usual = next((row.usual_established for row in own if row.usual_established), None)
        if own:
            name = f"{usual_of(guideline)} (usual practice)"
            rows.append((ground.name, name, "–", "–", _established(usual)))
        for row in own:
            extra = number(row.extra_cost or 0.0, 2, sign=True)
            per = "–" if row.cost_per_extra is None else number(row.cost_per_extra, 2)
            if row.cost_per_extra is not None and (row.lower or 0.0) <= 0:
                per = en.NOT_CLEAR
            rows.append((row.ground, row.preparation, extra, per, _established(row.established)))
    unit = f" ({priced[0].currency})" if priced[0].currency else ""
    return Table(
        "money-table", f"What it costs{unit}", columns, tuple(rows), 2, note=money_note(guideline).strip()
    )


def _established(cost: Established | None) -> str:
    if cost is None:
        return "–"
    return f"{number(cost.cost, 2)} ({number(cost.lower, 2)} to {number(cost.upper, 2)})"


def _details(guideline: Guideline) -> Section:
    why = tuple(
        (f"{each.preparation} on {each.ground}: {each.answer}", _why(each)) for each in guideline.advice
    )
    blocks: list[Block] = [details_table(guideline)]
    money = money_table(guideline)
    if money is not None:
        blocks.append(money)
    if guideline.unplaced:
        sites = ", ".join(guideline.unplaced)
        blocks.append(Paragraph(en.UNPLACED.format(sites=sites)))
    return Section("details", "Size, limits, cost and grade", (*blocks, Terms(why, label="Why")))


def _why(each: Advice) -> tuple[Sentence, ...]:
    """Say what the rule held to, the strength of evidence, what it lacks and what would strengthen it."""
    said = [*as_sentences(sentence(each.held)), NEW_LINE, say(en.EVIDENCE, strength=each.strength)]
    said += [say(en.HELD_BACK, reason=reason) for reason in each.reasons]
    if each.lacking:
        said += [NEW_LINE, *as_sentences(sentence(each.lacking))]
    for place, what in enumerate(each.raise_it):
        said += [say(en.ALSO, what=what)] if place else [NEW_LINE, say(en.STRENGTHEN, what=what)]
    return tuple(said)


def _seasons(guideline: Guideline) -> Section:
    rows = []
    for row in guideline.advice:
        for says in row.seasons:
            alone = Advice(
                row.ground,
                row.preparation,
                row.against,
                row.answer,
                "",
                says.estimate,
                says.lower,
                says.upper,
            )
            rows.append((row.ground, row.preparation, says.season, size_words(alone), str(says.n_sites)))
        if row.new_lower is not None and row.new_upper is not None:
            rows.append((row.ground, row.preparation, "a new season like these", new_season(row), ""))
    table = Table(
        "seasons-table",
        "Each season alone, limits by plot, and a new season like these",
        (
            Column("Ground"),
            Column("Preparation"),
            Column("Season"),
            Column("Difference per 100 (95 % CI)", numeric=True),
            Column("Sites", numeric=True),
        ),
        tuple(rows),
        row_heads=3,
        note=en.SEASONS_NOTE,
    )
    return Section("seasons", "Season by season", (table,))


def _works(guideline: Guideline) -> tuple[Section, ...]:
    """Return advice on works and their timing; nothing where no season asks about works."""
    if not guideline.works:
        return ()
    rows = []
    for each in guideline.works:
        said, span = difference(each.estimate, each.lower, each.upper, marks=bounds_of(guideline.rule))
        new = "–"
        if each.new_lower is not None and each.new_upper is not None:
            new = f"{number(each.new_lower, sign=True)} to {number(each.new_upper, sign=True)}"
        seasons = counted(len(each.seasons), "season")
        rows.append((each.question, f"{said} ({span})", new, seasons, f"{each.n_plots}", each.answer))
    table = Table(
        "works-table",
        "Works and their timing, over all kinds of ground",
        (
            Column("Question"),
            Column("Difference per 100 (95 % CI)", numeric=True),
            Column("In a new season like these", numeric=True),
            Column("Seasons"),
            Column("Plots", numeric=True),
            Column("Advice"),
        ),
        tuple(rows),
        note="With the work less without it, the other works held equal. The rule is that for preparations.",
    )
    why = tuple((f"{each.what}: {each.answer}", sentence(each.held)) for each in guideline.works)
    return (Section("works", "Which part pays, and when", (table, Terms(why, label="Why"))),)


def _radius(guideline: Guideline) -> Section:
    pairs = tuple((kind.ground, radius_words(kind)) for kind in guideline.radius)
    return Section("radius", "Weed-free radius", (Terms(pairs),))


def _practice(guideline: Guideline) -> Section:
    practice = guideline.file.practice
    if not practice:
        return Section("practice", "Local practice without data", (Paragraph(en.NO_PRACTICE),))
    table = Table(
        "practice-table",
        "Done here; these records say nothing of it",
        (Column("Preparation"), Column("Ground"), Column("What is done"), Column("Who says so")),
        tuple((entry.preparation, entry.ground, entry.says, entry.source) for entry in practice),
    )
    apart = Paragraph(en.PRACTICE)
    return Section("practice", "Local practice without data", (apart, table))


def _calendar(guideline: Guideline) -> Section:
    return Section("calendar", "When to start", (calendar_table(guideline),))


def _next(guideline: Guideline) -> Section:
    table = guideline.next
    if table.empty:
        return Section("next", "What to try next", (Paragraph(en.NO_NEXT),))
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
    less = en.NEXT_LEFT.format(comparisons=counted(left, "comparison")) if left else ""
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
        note=f"{en.NEXT_NOTE} {less}".strip(),
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
    rows = (*rows, (NOT_ANSWERED, en.RULE_ELSE))
    table = Table(
        "rule-table",
        "The first row whose conditions are all met gives the advice",
        (Column("Advice"), Column("Asks for all of")),
        rows,
        note=" ".join(filter(None, (en.RULE_NOTE, power_words(guideline)))),
    )
    return Section("rule", "The rule of advice", (table,))


def _cautions(guideline: Guideline) -> Section:
    pairs = tuple((caution.subject, caution.said_in("guideline")) for caution in CAUTIONS)
    return Section(
        "cautions",
        "Cautions",
        (Paragraph(f"{en.NO_INSTRUCTION} {cautions_touched(guideline)}"), Terms(pairs)),
    )


def _provenance(guideline: Guideline) -> Section:
    pairs = tuple(guideline.provenance.items())
    return Section("provenance", "Data and provenance", (Terms(pairs, code=True),))
