"""What a table of a sheet seems to be: where its header is, what its columns mean, which visits it holds."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import compress
from typing import Any, Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.headers import Matched, match_columns, squeezed
from survivor.files.sheets import Grid, Whole, as_text
from survivor.records.days_told import planted_by_site
from survivor.records.guess import Guess, Role
from survivor.records.sections import section_columns, with_sections
from survivor.records.sheet_days import first_planting, headed_planted, order_told, planting_day
from survivor.records.sheets import VISIT_WORDS
from survivor.records.tables import Part
from survivor.records.telling import OF_STATES, SECOND_WORDS, Written, columns_told
from survivor.records.ticks import with_states
from survivor.records.titles import beside, day_of_sheet, heads_with_cells, of_a_form, site_of, titles_above
from survivor.records.visit_columns import (
    VisitColumns,
    days_in,
    is_round,
    numeric_days,
    visit_columns,
)
from survivor.records.words import (
    COLUMN_WORDS,
    KEY_WORDS,
    LENIENT_WORDS,
    PLOT_SHEET_WORDS,
    RADIUS_WORDS,
    STATE_WORDS,
    VISIT_SHEET_WORDS,
    is_total,
    speaks_of_sums,
    spoken,
)
from survivor.settings import Sheet

_MOST_TITLES, _MOST_HEADER_ROWS = 10, 3  # rows above the header, and of it
_FEWEST_VISITS: Final = 2
_WORDS: Final = 0.5  # share of the words of a column that are states, for it to be no column of counts
_PLANTED: Final = frozenset(squeezed(word) for word in ("planted", *COLUMN_WORDS["planted"]))
_WHEN: Final = rf"(?:in |on )?(?:\d{{1,2}}\W)?(?:{cells.MONTH_NAME}|\d{{1,2}})\b.*"
_PLANTED_IN: Final = re.compile(  # a number planted, with its month or day in the header
    rf"(?:(?:no\.?|number|n|total) )?planted\W+{_WHEN}", re.IGNORECASE
)
_THIS_CENTURY: Final = (36_526, 58_440)  # a spreadsheet's numbers of the days from 2000 to 2059
_OF_TICKS: Final = 100  # more than all columns by themselves: a mark in one of several tells the state
_FEWEST_CELLS: Final = 2  # of a header row: a lone cell above the records is a title
_WRITTEN_ONCE: Final = 0.9  # a label in fewer of the rows than this may be meant for those below as well
_MOST_TURNED, _FEWEST_TURNED = 120, 4  # rows of a sheet whose plots lie across, and its columns
_HEADING_WORDS: Final = frozenset(
    {squeezed(text) for word, others in COLUMN_WORDS.items() for text in (word, *others)}
    | {text for others in SECOND_WORDS.values() for text in others}
)
_DEAD: Final = re.compile(r"\b(?:dead|deaths|losses|mortality|died|gaps|failures)\b", re.IGNORECASE)
_ALIVE: Final = re.compile(r"\b(?:alive|living|live|surviv\w*)\b", re.IGNORECASE)
_SHARE: Final = re.compile(r"%|\bper ?cent|\bpct\b", re.IGNORECASE)
_TO_DATE: Final = re.compile(r"to date|so far|cumul|total|altogether|not since", re.IGNORECASE)
_NOT_TO_DATE: Final = re.compile(r"since|new(?:ly)?\b|this visit|between", re.IGNORECASE)
_ONCE_WORDS: Final = (*KEY_WORDS, "method", "species", "planted_date", *RADIUS_WORDS)
_KNOWN_STATES: Final = frozenset(spoken(word) for words in STATE_WORDS.values() for word in words)


def guess_table(
    part: Part, several: bool, order: cells.DateOrder = None, planted: pd.Timestamp | None = None
) -> Guess:
    """Read a table in the way in which most of it is understood.

    Parameters
    ----------
    part
        The table.
    several
        Whether the folder holds several sheets or tables, so that a name or a title may tell the site.
    order
        Order of day and month where the sheet itself does not tell it.
    planted
        First planting day where the sheet itself does not tell it.

    Raises
    ------
    RecordsError
        When nothing in it can be a header.
    """
    try:
        guess = _best(part, several, (order, planted), turned=False)
    except RecordsError as fault:
        guess, first = None, fault
    # With a column for the day of planting its rows are plots, and the days of its visits stand elsewhere.
    settled = (
        guess is not None
        and guess.holds_visits
        and (
            not guess.visits
            or guess.matched.has("planted_date")
            or any(visit.day is not None or visit.date is not None for visit in guess.visits)
        )
    )
    if guess is not None and (settled or _too_large_to_turn(part.whole)):
        return guess
    try:  # with the plots across and the visits down the side
        other = _best(replace(part, whole=part.whole.turned()), several, (order, planted), turned=True)
    except RecordsError:
        other = None
    # Names of plots may look like visits (M01): what may be something else lies on its side by its days.
    needs_days = guess is not None and guess.role != "other"
    dated = other is not None and all(visit.day for visit in other.visits)
    if other is not None and other.holds_visits and other.visits and (dated or not needs_days):
        return replace(other, part=part)
    if guess is None:
        raise first
    return guess


def _too_large_to_turn(whole: Whole) -> bool:
    return len(whole.rows) > _MOST_TURNED or whole.rows.shape[1] < _FEWEST_TURNED


def _heads(rows: pd.DataFrame) -> bool:
    """Tell whether two words at least that head columns stand in some rows."""
    return len({squeezed(text) for row in rows.to_numpy() for text in row if text} & _HEADING_WORDS) > 1


def _best(
    part: Part, several: bool, otherwise: tuple[cells.DateOrder, pd.Timestamp | None], *, turned: bool
) -> Guess:
    """Read a table in each way in which it can be cut, and return the one of which most is understood."""
    best: tuple[float, Guess] | None = None
    fault: RecordsError | None = None
    for skip, rows in _layouts(part.whole):
        sheet = Sheet(
            file=part.whole.file, sheet=part.sheet, area=part.area, turned=turned, skip_rows=skip,
            header_rows=rows,
        )  # fmt: skip
        try:
            grid = part.whole.cut(skip, rows)
            headed = with_sections(grid)
            tables = [(own, table) for own, table in ((False, grid), (True, headed)) if table is not None]
            ways = [(own, False, table) for own, table in tables]
            ways += [(own, True, told) for own, table in tables if (told := with_states(table)) is not None]
            for own, ticked, table in ways:
                named = sheet.model_copy(update={"sections": own, "ticked": ticked})
                score, guess = _as_read(part, table, named, several, otherwise)
                if own and section_columns(table):  # which a name of the file is no match for
                    score += 0.5
                if ticked:
                    score += _OF_TICKS if guess.role == "tagged" else -_OF_TICKS
                if best is None or score > best[0]:
                    best = (score, guess)
        except RecordsError as error:
            fault = fault or error
            continue
    if best is None:
        raise fault or RecordsError("there is no header in it", where=part.whole.file)
    return best[1]


def _layouts(whole: Whole) -> list[tuple[int, int]]:
    """Ways to cut a sheet: rows above the header, and of it.

    A row with a lone cell is above the header, and a heading merged downwards is whole in it.
    """
    top_rows = whole.rows.head(_MOST_TITLES + _MOST_HEADER_ROWS)
    texts = pd.DataFrame(whole.texts[: len(top_rows)], top_rows.index, top_rows.columns)
    cells_in = (texts != "").sum(axis=1)
    fewest = min(_FEWEST_CELLS, whole.rows.shape[1])
    tops = [int(row) for row in cells_in.index[:_MOST_TITLES] if cells_in.loc[row] >= fewest]
    first = int(whole.rows.index[0])
    tops = [top for top in tops if _heads(texts.loc[top : top + _MOST_HEADER_ROWS - 1])] or tops
    return [
        (top - 1 if top > first else 0, rows)
        for top in tops or [first]
        for rows in range(_merged_rows(whole, top), _MOST_HEADER_ROWS + 1)
    ]


def _merged_rows(whole: Whole, top: int) -> int:
    """Rows that the headings of a row take which are merged downwards; 1 where none is."""
    deep = (foot - head + 1 for (head, _), (foot, _) in whole.merged if head + 1 == top)
    return max((rows for rows in deep if rows <= _MOST_HEADER_ROWS), default=1)


def _as_read(
    part: Part,
    grid: Grid,
    sheet: Sheet,
    several: bool,
    otherwise: tuple[cells.DateOrder, pd.Timestamp | None],
) -> tuple[float, Guess]:
    """Guess the role of a table read so, and score how much of it is understood."""
    whole = part.whole
    cells_of = [list(map(as_text, grid.cells[place].to_numpy(dtype=object))) for place in grid.cells]
    shares = _word_shares(cells_of)
    written = Written(cells_of, shares)
    heads = heads_with_cells(grid) if sheet.turned else grid.header
    visits, alone = visit_columns(heads, words=shares)
    taken = _taken(visits, alone)
    tagged, counts, plots = (
        _matched(grid, taken, words, written)
        for words in (VISIT_SHEET_WORDS["tagged"], VISIT_SHEET_WORDS["counts"], PLOT_SHEET_WORDS)
    )
    titles = titles_above(whole, grid, sheet, part.heading)
    texts = beside(whole, grid)
    order, two_way = order_told(grid, tagged if tagged.has("tag") else counts, visits, (*titles, *texts))
    order = order or otherwise[0]
    day_first = order or "day-first"  # of titles and headings: said where nothing tells
    said = (titles, texts, headed_planted(grid.header))
    planted = next((day for own in said if (day := planting_day(own, day_first))), None)
    first = first_planting(grid, counts, order, planted)
    first = otherwise[1] if first is None else first
    if day_first != "day-first" or first is not None:
        visits, alone = visit_columns(heads, day_first, first, shares)
        taken = _taken(visits, alone)
    wide = visits if len(visits) >= _FEWEST_VISITS else ()
    if not wide and not counts.has("alive") and not counts.has("dead") and (told := _counts_of(grid)):
        counts = _matched(grid, taken, VISIT_SHEET_WORDS["counts"], written, told)
    role: Role
    if tagged.has("tag") and (tagged.has("state") or wide) and not _days_are_tags(grid, tagged, wide):
        role, matched = "tagged", tagged
    elif (
        _tells_plot(counts)
        and (counts.has("alive") or counts.has("dead") or _of_counts(wide, shares))
        and not _is_key(grid, counts)
    ):
        role, matched = "counts", counts
    elif plots.has("plot") and (plots.has("method") or plots.has("planted_date") or plots.has("planted")):
        role, matched, wide = "plots", plots, ()
    else:
        role, matched, wide = "other", plots, ()
    if matched.has("date") and (matched.has("state") or matched.has("alive")):
        wide = ()
    elif not wide and role == "tagged" and not matched.has("state"):
        role = "other"
    if wide:  # what a visit says stands in its own columns
        words = [word for word in VISIT_SHEET_WORDS[role] if word not in VISIT_WORDS]
        matched = _matched(grid, taken, words, written)
    guess = Guess(
        sheet, part, grid, matched, role, wide, alone if wide else (), order, two_way and order is None,
        {}, (), titles, texts,
    )  # fmt: skip
    if guess.holds_visits:
        guess = replace(guess, fill_down=_written_once(cells_of, matched, role))
        guess = _with_what_titles_tell(guess, several, planted)
        guess = replace(guess, assumed=(*_order_assumed(guess), *_counts_assumed(guess)))
    heads_of_visits = [grid.header[visit.value] for visit in wide]
    alike = sum(heads_of_visits.count(head) > 1 for head in heads_of_visits)  # nothing tells them apart
    understood: float = len(matched.positions) + len(guess.every_row) - (role == "other")
    understood += len(wide) - 2 * alike
    understood += 0.5 * (guess.holds_visits and _holds_rows(guess))
    return understood - sheet.header_rows / 10, guess


def _days_are_tags(grid: Grid, matched: Matched, visits: Sequence[VisitColumns]) -> bool:
    """Tell whether a row is a day and a column a seedling: tags that are days, visits all on one."""
    days = {visit.day for visit in visits}
    if len(visits) < _FEWEST_VISITS or len(days) > 1:
        return False
    tags = grid.cells[matched.positions["tag"][0]]
    tags = tags[cells.texts(tags) != ""]
    days_read = cells.dates(tags, "day-first")[0].notna() & cells.numbers(tags)[0].isna()
    return bool(days_read.mean() > _WORDS)


def _with_what_titles_tell(guess: Guess, several: bool, planted: str | None) -> Guess:
    matched, every_row = guess.matched, dict[str, str]()
    by_site: dict[str, str] = {}
    every_row |= of_a_form(guess)
    guess = replace(guess, every_row=every_row)
    if not matched.has("site") and "site" not in every_row and (site := site_of(guess, several)):
        every_row["site"] = site
    if not matched.has("planted_date") and "planted_date" not in every_row:
        if planted:
            every_row["planted_date"] = planted
        elif matched.has("site"):
            sites = [site for site in guess.texts_of("site").unique() if site and not is_total(site)]
            by_site = planted_by_site((*guess.titles, *guess.texts), sites, guess.order or "day-first")
    if not guess.visits and not matched.has("date") and "date" not in every_row:
        headed = [cells.one_date(guess.grid.header[place], guess.order) for place in guess.values]
        every_row |= {"date": headed[0]} if headed and headed[0] else day_of_sheet(guess)
    guess = replace(guess, every_row=every_row, planted_by_site=by_site)
    return replace(guess, counted=_counted(guess)) if guess.role == "counts" else guess


def _order_assumed(guess: Guess) -> tuple[str, ...]:
    """Say which days of titles and headings were read with the day first though nothing tells it."""
    if guess.order is not None:
        return ()
    heads = [guess.grid.header[visit.value] for visit in guess.visits]
    used = {*guess.every_row.values(), *guess.planted_by_site.values()}
    said = [text for text in (*guess.titles, *guess.texts) if set(days_in(text, "day-first")) & used]
    written = [day for text in (*said, *heads) for day in numeric_days(text) if cells.one_date(day) is None]
    if not written:
        return ()
    listed = ", ".join(f"{day} is {cells.one_date(day, 'day-first')}" for day in dict.fromkeys(written))
    return (f"days are taken with the day first ({listed}), which nothing in the sheet tells",)


def _taken(visits: Sequence[VisitColumns], alone: Sequence[int]) -> set[int]:
    taken = {place for visit in visits for place in visit.places} | set(alone)
    return taken if len(visits) >= _FEWEST_VISITS else set()


def _word_shares(columns: Sequence[Sequence[str]]) -> dict[int, float]:
    """Share of the filled cells of each column that are words for states."""
    shares: dict[int, float] = {}
    for place, texts in enumerate(columns):
        times = Counter(texts)
        words = {word: n for word, n in times.items() if word and not re.fullmatch(r"[\d.,]+", word)}
        known = sum(n for word, n in words.items() if spoken(word) in _KNOWN_STATES)
        shares[place] = known / sum(words.values()) if words else 0.0
    return shares


def _of_counts(visits: Sequence[VisitColumns], shares: Mapping[int, float]) -> bool:
    """Tell whether columns of visits may hold counts: neither scores of vigour nor words for states."""
    scores = any(visit.counted == "score" for visit in visits)
    return bool(visits) and not scores and not all(shares[visit.value] > _WORDS for visit in visits)


def _is_key(grid: Grid, matched: Matched) -> bool:
    """Tell whether what may be counts are words alone, as in a key of codes headed "A, alive"."""
    places = [place for word in ("alive", "dead") for place in matched.positions.get(word, ())]
    texts = pd.concat([cells.texts(grid.cells[place]) for place in places] or [pd.Series(dtype=object)])
    filled = texts[texts != ""]
    return len(filled) > 0 and not filled.str.contains(r"\d").any()


def _tells_plot(matched: Matched) -> bool:
    return matched.has("plot") or (matched.has("block") and matched.has("method"))


def _holds_rows(guess: Guess) -> bool:
    """Tell whether the first row below the header looks like a record and not like more of the header."""
    first = guess.grid.cells.iloc[0]
    known = [place for place in guess.values if place in first.index]
    text = [as_text(first[place]) for place in known]
    return not any(
        is_round(t) or cells.one_date(t) is not None for t in text if not t.replace(".", "").isdigit()
    )


def _counts_of(grid: Grid) -> dict[str, str]:
    """Find the one column that tells the living as a share, or the dead, in words of its own."""
    heads = [header for header in grid.header if not OF_STATES.search(header)]
    shares = [header for header in heads if _SHARE.search(header) and _ALIVE.search(header)]
    dead = [header for header in heads if _DEAD.search(header) and not _SHARE.search(header)]
    if len(shares) == 1:
        return {"alive": shares[0]}
    return {"dead": dead[0]} if len(dead) == 1 and not shares else {}


def _is_planted(header: str) -> bool:
    return squeezed(header.rsplit(" / ", 1)[-1]) in _PLANTED


def _day_numbers(column: pd.Series[Any]) -> bool:
    """Tell whether all cells are a spreadsheet's numbers of days of this century, and no round numbers."""
    values, faults = cells.numbers(column[cells.texts(column) != ""])
    near = values.between(*_THIS_CENTURY) & (values % 1 == 0) & (faults == "")
    return len(values) > 0 and bool(near.all() and (values % 100 != 0).any())


def _matched(
    grid: Grid,
    taken: Collection[int],
    words: Sequence[str],
    written: Written,
    told: Mapping[str, str] | None = None,
) -> Matched:
    """Match the columns; one headed Planted that holds days tells the planting date, not a number."""
    named = dict(told or {})
    if "planted_date" in words:
        dated = [
            c
            for c, header in enumerate(grid.header)
            if _is_planted(header) and (cells.hold_days(grid.cells[c]) or _day_numbers(grid.cells[c]))
        ]
        others = {squeezed(word) for word in ("planted_date", *COLUMN_WORDS["planted_date"])}
        if len(dated) == 1 and not others & set(map(squeezed, grid.header)):
            named["planted_date"] = grid.header[dated[0]]
    if "planted" in words and not any(map(_is_planted, grid.header)):
        own = [head for head in grid.header if _PLANTED_IN.fullmatch(head)]
        if len(own) == 1:
            named["planted"] = own[0]
    of_visits = dict.fromkeys(taken, "")

    def match() -> Matched:
        return match_columns(
            grid, named, words, COLUMN_WORDS, key="records.sheets", taken=of_visits, lenient=LENIENT_WORDS
        )

    named |= section_columns(grid)
    plain = match()
    # In a wide sheet the columns of the visits say what a visit says.
    more = [word for word in words if not taken or word not in VISIT_WORDS]
    if not (weaker := columns_told(grid, plain, more, taken, written)):
        return plain
    named |= weaker
    return match()


def _written_once(columns: Sequence[Sequence[str]], matched: Matched, role: str) -> tuple[str, ...]:
    """Words whose column begins with a label and is blank in many rows below."""
    filled: list[str] = []
    key = matched.positions.get("tag" if role == "tagged" else "plot", ())[:1]
    if key and role == "tagged":
        rows = [bool(text) for text in columns[key[0]]]
    else:
        rows = [
            sum(text != "" for text in row) > _FEWEST_CELLS and not any(map(speaks_of_sums, row))
            for row in zip(*columns, strict=True)
        ]
    for word in _ONCE_WORDS:
        for place in matched.positions.get(word, ())[:1]:
            texts = [text for text in compress(columns[place], rows) if not is_total(text)]
            if texts and texts[0] != "" and sum(map(bool, texts)) / len(texts) < _WRITTEN_ONCE:
                if word in ("species", *RADIUS_WORDS, "planted_date") and not filled and word == "species":
                    continue  # a species left out is a species not known
                filled.append(word)
    return tuple(word for word in filled if word != "species")


# ---- what is counted ---------------------------------------------------------------------


def _counted(guess: Guess) -> str:
    """Tell living from dead and from shares by headings, titles and the numbers themselves."""
    headed = {visit.counted for visit in guess.visits}
    if not guess.visits and not guess.matched.has("alive"):
        headed = {"dead"}
    said = (*guess.titles, guess.part.name)
    texts = (*guess.texts, *guess.part.beside)
    values = pd.DataFrame({place: cells.numbers(guess.grid.cells[place])[0] for place in guess.values})
    values = values[guess.texts_of("plot") != ""] if guess.matched.has("plot") else values
    headings = [guess.grid.header[place] for place in guess.values]
    dead = headed == {"dead"} or (
        any(_DEAD.search(text) and not _ALIVE.search(text) for text in said)
        and not any(_ALIVE.search(heading) for heading in headings)
    )
    if dead:
        if any(
            _NOT_TO_DATE.search(text) and "not since" not in text.casefold()
            for text in (*said, *texts, *headings)
        ):
            return "dead since the last visit"
        falls = (values.ffill(axis=1).diff(axis=1) < 0).any(axis=None) if len(values.columns) > 1 else False
        return "dead since the last visit" if falls else "dead to date"
    if headed == {"per cent"}:
        return "alive per cent"
    faults = [cells.numbers(guess.grid.cells[place])[1] for place in guess.values]
    signs = any((fault == cells.PERCENTAGE).any() for fault in faults)
    planted = [cells.numbers(guess.grid.cells[p])[0] for p in guess.matched.positions.get("planted", ())[:1]]
    flat = pd.Series(values.to_numpy().ravel()).dropna()
    share = len(flat) > 0 and flat.between(0, 1).all() and (flat % 1 != 0).any()
    beyond = bool(planted) and bool(values.gt(planted[0].reindex(values.index), axis=0).any(axis=None))
    spoken_of = any(_SHARE.search(text) for text in (*said, *texts, *headings))
    return "alive per cent" if signs or share or (spoken_of and beyond) else "alive"


def _counts_assumed(guess: Guess) -> Iterator[str]:
    """Say what was taken of counts that nothing in the sheet tells."""
    if guess.role != "counts":
        return
    headings = [guess.grid.header[place] for place in guess.values]
    said = (*guess.titles, guess.part.name, *headings)
    share = any(map(_SHARE.search, said)) and guess.counted != "alive per cent"
    if guess.counted == "dead to date" and not any(map(_TO_DATE.search, (*said, *guess.texts))):
        yield (
            "the dead are taken as counted to date and not since the visit before, which nothing in the "
            "sheet tells"
        )
    if share:
        of = "living" if guess.counted == "alive" else "dead"
        yield f"the numbers are taken as {of} plants, though the sheet speaks of per cent"
    species = [visit.species for visit in guess.visits if visit.species and visit.planted is None]
    if species and guess.matched.has("planted"):
        names = ", ".join(dict.fromkeys(map(str, species)))
        yield f"{names} are taken as species, and the number planted of a row as that of each of them"


# ---- days told elsewhere -------------------------------------------------------------------


def with_days(guess: Guess, days: Mapping[str, Mapping[str, str]]) -> Guess:
    """Give the visits whose header tells no day the one that stands elsewhere."""
    told: dict[int, dict[str, str]] = {}
    visits = []
    for visit in guess.visits:
        head = squeezed(guess.grid.header[visit.value])
        names = sorted((name for name in days if name in head), key=len)
        own = days[names[-1]] if names and visit.day is None and visit.date is None else {}
        day = own[""] if set(own) == {""} else None
        if day is None and own:
            told[visit.value] = {site: day for site, day in own.items() if site}
        visits.append(replace(visit, day=visit.day or day))
    by_site = guess.planted_by_site
    every_row = guess.every_row
    if (
        "planted" in days
        and not guess.matched.has("planted_date")
        and not by_site
        and "planted_date" not in every_row
    ):
        own = days["planted"]
        site = every_row.get("site", "")
        if set(own) == {""} or site in own:
            every_row = {**every_row, "planted_date": own.get(site, own.get("", ""))}
        elif guess.matched.has("site"):
            by_site = {site: day for site, day in own.items() if site}
    return replace(
        guess, visits=tuple(visits), days_by_site=told, planted_by_site=by_site, every_row=every_row
    )
