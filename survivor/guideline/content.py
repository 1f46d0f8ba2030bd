"""A guideline as headings, sentences, tables and figures, without markup."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from survivor.document.elements import (
    Block,
    Figure,
    Link,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
    headed,
    numbers,
    of_row,
    places,
    words,
    written,
)
from survivor.evidence.finding import as_sentences
from survivor.figures.comparison import advice_figure
from survivor.guideline import english as en
from survivor.guideline.advice import Advice, Beside, Established, facts_of, not_checked
from survivor.guideline.file import Row
from survivor.guideline.making import Guideline
from survivor.guideline.rule import ANSWERS, NOT_ANSWERED, bounds_of, row_words, still_needed
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
from survivor.guideline.works import WorkAdvice
from survivor.pooling.result import NEW_NOTE
from survivor.report.cautions import CAUTIONS
from survivor.sentences import NEW_LINE, Cell, Name, Sentence, Value, cell, say
from survivor.words import NONE, change, counted, difference, limits, listed, money, number, plain, sentence

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
        Section("calendar", "When to start", (calendar_table(guideline),)),
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
    caption = f"Advice by kind of ground, against {usual_of(guideline)}"
    return Table("advice-table", caption, headed("Preparation", *grounds), tuple(rows))


_CHECKS: Final = 4  # names of rules in one sentence
_BEGIN: Final = (en.ADVISED, en.TRIAL, en.NOT_ADVISED, en.OF_TWO)  # sentences that a text begins with
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
        for answer, template in _IN_LEAD:
            for each in own:
                if each.answer == answer:
                    said += _in_lead(each, template, guideline.rule)
        said += [one for each in own for beside in each.beside for one in _against(each, beside)]
        paragraphs.append(tuple(said))
    return tuple(paragraphs)


def _in_lead(each: Advice, template: str, rule: Sequence[Row]) -> list[Sentence]:
    assert each.estimate is not None, "advice rests on an estimate"
    assert each.lower is not None, "with its limits"
    assert each.upper is not None, "with its limits"
    size, span = difference(each.estimate, each.lower, each.upper, marks=bounds_of(rule))
    at = {name: _cell(each, name) for name in ("estimate", "lower", "new_season_lower")}
    said = [
        say(
            template,
            ground=each.ground,
            method=Name(each.preparation),
            size=Value(size.lstrip("+−"), each.estimate, at["estimate"], -1.0 if each.estimate < 0 else 1.0),
            which="more" if each.estimate > 0 else "fewer",
            span=Value(f"95 % CI {span}", each.lower, at["lower"]),
        )
    ]
    if each.coming is not None and each.coming.says_nothing:
        said.append(say(en.NEW_SEASON_ANYTHING, why=new_season(each)))
    elif each.coming is not None:
        span_new = Value(new_season(each), each.coming.lower, at["new_season_lower"])
        said.append(say(en.NEW_SEASON, span=span_new))
    row = cost_row(rule, each)
    if row is not None and row.upper_at_most is not None and each.extra_cost is not None:
        written = money(each.extra_cost, each.currency)
        extra = Value(written, each.extra_cost, _cell(each, "extra_cost_per_plant"))
        bound = Value(plain(row.upper_at_most), row.upper_at_most)
        said.append(say(en.FOR_COST, extra=extra, bound=bound))
    if template == en.TRIAL:
        needed = still_needed(rule, facts_of(each), "advised")
        said += [say(en.TRIAL_NEEDS, what=listed(needed))] if needed else []
    if each.answer == "advised" and each.dearer and each.established and each.usual_established:
        cost, usual = (
            Value(money(one.cost, each.currency), one.cost, _cell(each, name))
            for one, name in (
                (each.established, "cost_per_established"),
                (each.usual_established, "usual_cost_per_established"),
            )
        )
        said.append(say(en.DEARER, cost=cost, usual=usual))
    return said


def cost_row(rule: Sequence[Row], each: Advice) -> Row | None:
    """Return the row of the rule that gave an advice where it asks for a higher cost; None for others."""
    rows = (row for row in rule if row.gives == each.answer and row_words(row) == each.held)
    row = next(rows, None)
    return row if row is not None and row.costs_more else None


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


def new_season(each: Advice | WorkAdvice) -> str:
    """Write what a new season like these may show, as far as survival can go; a dash where there is none."""
    return NONE if each.coming is None else str(each.coming)


def by_preparation(said: Sequence[Sentence]) -> tuple[tuple[Sentence, ...], ...]:
    """Part what is said of a kind of ground into its first sentence and a text a preparation."""
    texts: list[list[Sentence]] = []
    for one in said:
        if not texts or one.template in _BEGIN:
            texts.append([])
        texts[-1].append(one)
    return tuple(map(tuple, texts))


def _of_ground(said: Sequence[Sentence]) -> list[Block]:
    """Lead with the first text of a kind of ground; the others are a list below it."""
    first, *others = by_preparation(said)
    return [Paragraph(first, kind="lead"), *([Listing(tuple(others))] if others else [])]


def _answer(guideline: Guideline) -> Section:
    about = guideline.file.guideline
    blocks: list[Block] = [
        *(block for said in lead(guideline) for block in _of_ground(said)),
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
    columns = headed("Preparation", "Ground", "Difference", "In a new season like these", "Advice")
    numbers = Table("differences-numbers", "Differences per 100 planted, with 95 % CI", columns, rows)
    caption = en.FIGURE_CAPTION.format(smallest=number(smallest))
    return Figure("differences", "Difference from the usual practice", finding, caption, draw, numbers)


def details_table(guideline: Guideline, *, checks_on_page: str = "") -> Table:
    """Return size in these seasons and in a new one, and the strength of evidence, behind each advice.

    ``checks_on_page`` stands in the note for the checks that are not made, where the page names them.
    """
    fields = (
        of_row("Ground", lambda row: row.ground),
        of_row("Preparation", lambda row: row.preparation),
        of_row("Advice", lambda row: row.answer),
        of_row("In these seasons (95 % CI)", lambda row: _bare_size(row, guideline.rule), numeric=True),
        of_row("In a new season like these", new_season, numeric=True),
        of_row("Evidence", lambda row: row.strength),
        of_row("Seasons", lambda row: _count(row, row.n_seasons), numeric=True),
        of_row("Sites", lambda row: _count(row, row.n_sites), numeric=True),
        of_row("Plots", lambda row: _count(row, row.n_plots), numeric=True),
    )
    told = [each.n_seedlings for each in guideline.advice if each.estimate is not None]
    note = [en.DETAILS_NOTE, NEW_NOTE.format(unit="season", units="seasons"), en.EVIDENCE_NOTE]
    if told:
        note.append(en.SEEDLINGS.format(least=number(min(told)), most=number(max(told))))
    note.append(checks_on_page if checks_on_page else _checks_not_made())
    caption = "What stands behind each piece of advice"
    return written("details-table", caption, guideline.advice, fields, 2, " ".join(note))


def _bare_size(row: Advice, rule: Sequence[Row]) -> str:
    return size_words(row, rule).replace(" per 100", "")


def _count(row: Advice, count: int) -> str:
    """Write a count that an estimate rests on; a dash where there is none."""
    return NONE if row.estimate is None else str(count)


def _checks_not_made() -> str:
    """Name the checks of a report that a guideline does not make."""
    checks = not_checked()
    groups = [checks[place : place + _CHECKS] for place in range(0, len(checks), _CHECKS)]
    first, *rest = (listed(group) for group in groups)
    more = [en.NOT_CHECKED_TOO.format(checks=names) for names in rest]
    return " ".join((en.NOT_CHECKED.format(checks=first), *more))


def money_table(guideline: Guideline) -> Table | None:
    """Return what each preparation costs beside the usual practice; None without prices."""
    priced = [row for row in guideline.advice if row.extra_cost is not None]
    if not priced:
        return None
    costs = ("Extra cost per plant", "Cost of each extra plant alive", "Cost of an established plant (range)")
    columns = headed("Ground", "Preparation", numeric=costs)
    rows: list[tuple[str, ...]] = []
    for ground in guideline.file.ground:
        own = [row for row in priced if row.ground == ground.name]
        usual = next((row.usual_established for row in own if row.usual_established), None)
        if own:
            name = f"{usual_of(guideline)} (usual practice)"
            rows.append((ground.name, name, "–", "–", _established(usual, own[0].currency)))
        for row in own:
            extra = change(row.extra_cost or 0.0, row.currency)
            per = "–" if row.cost_per_extra is None else money(row.cost_per_extra, row.currency)
            if row.cost_per_extra is not None and (row.lower or 0.0) <= 0:
                per = en.NOT_CLEAR
            rows.append(
                (row.ground, row.preparation, extra, per, _established(row.established, row.currency))
            )
    return Table("money-table", "What it costs", columns, tuple(rows), 2, note=money_note(guideline).strip())


def _established(cost: Established | None, currency: str) -> str:
    if cost is None:
        return "–"
    return f"{money(cost.cost, currency)} ({limits(cost.lower, cost.upper, 2)})"


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
    return Section("details", "What stands behind the advice", (*blocks, Terms(why, label="Why")))


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
            alone = replace(row, held="", estimate=says.estimate, lower=says.lower, upper=says.upper)
            rows.append((row.ground, row.preparation, says.season, size_words(alone), str(says.n_sites)))
        if row.coming is not None:
            rows.append((row.ground, row.preparation, "a new season like these", new_season(row), ""))
    columns = headed("Ground", "Preparation", "Season", numeric=("Difference per 100 (95 % CI)", "Sites"))
    caption = "Each season alone, limits by plot, and a new season like these"
    table = Table("seasons-table", caption, columns, tuple(rows), 3, en.SEASONS_NOTE)
    return Section("seasons", "Season by season", (table,))


def _works(guideline: Guideline) -> tuple[Section, ...]:
    """Return advice on works and their timing; nothing where no season asks about works."""
    if not guideline.works:
        return ()
    marks = bounds_of(guideline.rule)

    def size(each: WorkAdvice) -> str:
        return "{} ({})".format(*difference(each.estimate, each.lower, each.upper, marks=marks))

    fields = (
        of_row("Question", lambda each: each.question),
        of_row("Difference per 100 (95 % CI)", size, numeric=True),
        of_row("In a new season like these", new_season, numeric=True),
        of_row("Seasons", lambda each: counted(len(each.seasons), "season")),
        of_row("Plots", lambda each: f"{each.n_plots}", numeric=True),
        of_row("Advice", lambda each: each.answer),
    )
    caption = "Works and their timing, over all kinds of ground"
    note = "With the work less without it, the other works held equal. The rule is that for preparations."
    table = written("works-table", caption, guideline.works, fields, note=note)
    why = tuple((f"{each.what}: {each.answer}", sentence(each.held)) for each in guideline.works)
    return (Section("works", "Which part pays, and when", (table, Terms(why, label="Why"))),)


def _radius(guideline: Guideline) -> Section:
    pairs = tuple((kind.ground, radius_words(kind)) for kind in guideline.radius)
    return Section("radius", "Weed-free radius", (Terms(pairs),))


def _practice(guideline: Guideline) -> Section:
    practice = guideline.file.practice
    if not practice:
        return Section("practice", "Local practice without data", (Paragraph(en.NO_PRACTICE),))
    columns = headed("Preparation", "Ground", "What is done", "Who says so")
    rows = tuple((entry.preparation, entry.ground, entry.says, entry.source) for entry in practice)
    table = Table("practice-table", "Done here; these records say nothing of it", columns, rows)
    return Section("practice", "Local practice without data", (Paragraph(en.PRACTICE), table))


def _next(guideline: Guideline) -> Section:
    table = guideline.next
    if table.empty:
        return Section("next", en.NEXT_HEADING, (Paragraph(en.NO_NEXT),))
    worth = table[table["value_per_100"] >= LEAST_WORTH]
    if worth.empty:
        return Section("next", en.NEXT_HEADING, (Paragraph(next_sentence(guideline)),))
    fields = (
        words("Ground", "ground"),
        words("Preparation", "preparation"),
        words("Advice now", "answer"),
        numbers("Worth, plants alive per 100 planted", "value_per_100", write=places(2)),
        numbers("Worth, plants alive a year", "value_plants"),
        numbers("Chance in 100 that the choice changes", "chance_per_100"),
    )
    left = len(table) - len(worth)
    less = en.NEXT_LEFT.format(comparisons=counted(left, "comparison")) if left else ""
    caption, note = "Comparisons by what a further season would be worth", f"{en.NEXT_NOTE} {less}".strip()
    shown = written("next-table", caption, worth, fields, 2, note)
    return Section("next", en.NEXT_HEADING, (Paragraph(next_sentence(guideline)), shown))


def _changes(guideline: Guideline) -> Section:
    parts = []
    for version in guideline.changes:
        items = (*version.also, *version.moved)
        blocks: list[Block] = [Listing(items)]
        if version.stood:
            blocks.append(
                Listing(version.stood, label="Did not change, though one season alone looked otherwise")
            )
        dated = f", {version.dated}" if version.dated else ""
        parts.append(Section(f"version-{version.number}", f"Version {version.number}{dated}", tuple(blocks)))
    return Section("changes", "Change log", (), tuple(parts))


def _rule(guideline: Guideline) -> Section:
    rows = tuple(tuple(line.split(": ", 1)) for line in guideline.version.rule)
    rows = (*rows, (NOT_ANSWERED, en.RULE_ELSE))
    table = Table(
        "rule-table",
        "The first row whose conditions are all met gives the advice",
        headed("Advice", "Asks for all of"),
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
