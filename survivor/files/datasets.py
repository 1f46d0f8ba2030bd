"""Text and Parquet files that need not fit into memory: read in batches, and parted by place.

Every cell becomes the text that a CSV file would hold, so that what is read here and what
`survivor.files.sheets` reads are understood by the same code.
"""

from __future__ import annotations

import csv
import hashlib
import zlib
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from survivor.errors import RecordsError
from survivor.files.delimited import sniff_sign
from survivor.files.kinds import PARQUET_ENDINGS
from survivor.progress import tell

if TYPE_CHECKING:
    import pyarrow as pa

_BLOCK: Final = 4 * 2**20  # bytes of text read at a time
_BATCH: Final = 50_000  # rows of Parquet read at a time
_SAMPLE: Final = 64 * 2**10
_MANY: Final = 1_000  # distinct texts of a column in a batch, from which codes are no shorter
_ROW, _FILE = "row", "file"  # columns beside the cells: where each row stood
_NO_ARROW: Final = "Parquet and registers larger than memory need pyarrow, which is not installed"


def files_of(folder: Path, name: str) -> list[Path]:
    """Name the files that a name with ``*`` stands for, in order; else the file itself."""
    return sorted(folder.glob(name)) if "*" in name else [folder / name]


def digest_of_all(path: Path) -> str:
    """Return the digest of one file, or of the names and contents of those that a name with ``*`` means."""
    if "*" not in path.name:
        return _digest(path)
    each = [f"{file.name} {_digest(file)}" for file in files_of(path.parent, path.name)]
    return hashlib.sha256("\n".join(each).encode()).hexdigest() if each else ""


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@dataclass(frozen=True)
class Batches:
    """The rows of files that have the same columns.

    Attributes
    ----------
    name
        As the study file has it.
    paths, shown
        The files, and how each is called in problems.
    header
        Their columns.
    """

    name: str
    paths: tuple[Path, ...]
    shown: tuple[str, ...]
    header: tuple[str, ...]

    def each(self, rows: int | None = None, plain: Collection[str] = ()) -> Iterator[pa.Table]:
        """Give the rows in batches of coded text, with the columns ``row`` and ``file``.

        Parameters
        ----------
        rows
            About how many at most.
        plain
            Columns whose texts are written out; looked at anew for each batch.
        """
        given = 0
        for number, (path, shown) in enumerate(zip(self.paths, self.shown, strict=True)):
            for table in _batches(path, shown, self.header, plain):
                yield _placed(table, number)
                given += len(table)
                if rows is not None and given >= rows:
                    return

    def about(self) -> int:
        """Estimate the number of rows, from the sizes of the files."""
        import pyarrow.parquet as pq

        total = 0
        for path in self.paths:
            if path.suffix.lower() in PARQUET_ENDINGS:
                total += pq.ParquetFile(path).metadata.num_rows
                continue
            with path.open("rb") as file:
                sample = file.read(_SAMPLE)
            total += int(path.stat().st_size / max(len(sample) / max(sample.count(b"\n"), 1), 1))
        return total


def batches_of(folder: Path, name: str) -> Batches:
    """Find the files of a register, and check that their columns are the same.

    Raises
    ------
    RecordsError
        When there is none, one cannot be read, or has other columns than the first, or pyarrow is absent.
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError as fault:
        mend = 'install it: pip install "survivor-establishment[programme]"; or save the file as CSV'
        raise RecordsError(_NO_ARROW, where=name, mend=mend) from fault
    paths = files_of(folder, name)
    if not paths:
        raise RecordsError("no file has such a name", where=name, mend="check the name in the study file")
    shown = [path.relative_to(folder).as_posix() for path in paths] if "*" in name else [name]
    headers = [_header(path, called) for path, called in zip(paths, shown, strict=True)]
    for called, header in zip(shown, headers, strict=True):
        if set(header) != set(headers[0]):
            apart = ", ".join(sorted(set(header) ^ set(headers[0])))
            raise RecordsError(
                f"its columns are not those of {shown[0]}: {apart}",
                where=called,
                mend="give all files of one table the same columns, or name them in tables of their own",
            )
    return Batches(name, tuple(paths), tuple(shown), headers[0])


def _sign(path: Path, name: str) -> tuple[str, tuple[str, ...]]:
    """Sign that parts the cells of a text file, and its header."""
    with path.open("rb") as file:
        sample = file.read(_SAMPLE).decode("utf-8-sig", "replace")
    if not sample.strip():
        raise RecordsError("there is nothing in it", where=name, mend="check that the right file was saved")
    sign = sniff_sign(sample)
    return sign, tuple(cell.strip() for cell in next(csv.reader(sample.splitlines(), delimiter=sign)))


def _header(path: Path, name: str) -> tuple[str, ...]:
    try:
        if path.suffix.lower() not in PARQUET_ENDINGS:
            header = _sign(path, name)[1]
        else:
            import pyarrow.parquet as pq

            header = tuple(pq.read_schema(path).names)
    except (OSError, ValueError) as fault:
        raise _unreadable(name, fault) from fault
    if len(set(header)) < len(header):
        twice = next(head for head, times in Counter(header).items() if times > 1)
        raise RecordsError(f"two columns are called {twice!r}", where=name, mend="rename one of them")
    return header


def _unreadable(name: str, fault: Exception) -> RecordsError:
    what = f"the file cannot be read: {str(fault).splitlines()[0]}"
    return RecordsError(what, where=name, mend="check that it was saved whole, and as CSV (UTF-8) or Parquet")


def _batches(path: Path, name: str, header: Sequence[str], plain: Collection[str]) -> Iterator[pa.Table]:
    parquet = path.suffix.lower() in PARQUET_ENDINGS
    batches = _of_parquet(path, header) if parquet else _of_text(path, name, header)
    try:
        yield from _ahead(_written_out(batch, header, plain) for batch in batches)
    except (OSError, ValueError) as fault:  # Arrow's errors are of these kinds
        raise _unreadable(name, fault) from fault


def _written_out(batch: pa.Table, header: Sequence[str], plain: Collection[str]) -> pa.Table:
    import pyarrow as pa

    columns = [_as_text(batch.column(head).combine_chunks(), head in plain) for head in header]
    return pa.table([*columns, batch.column(_ROW)], names=[*header, _ROW])


def _of_parquet(path: Path, header: Sequence[str]) -> Iterator[pa.Table]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    row = 2  # as a sheet would number it: the header is row 1
    texts = [field.name for field in pq.read_schema(path) if pa.types.is_string(field.type)]
    for batch in pq.ParquetFile(path, read_dictionary=texts).iter_batches(_BATCH, columns=list(header)):
        rows = pa.array(np.arange(row, row + len(batch), dtype=np.int64))
        yield pa.table([*map(batch.column, header), rows], names=[*header, _ROW])
        row += len(batch)


def _as_text(column: Any, plain: bool) -> Any:
    """Write each distinct value of a column of any kind as text, with codes into these; or those of all."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_dictionary(column.type):
        texts = column.dictionary
        if not (plain or column.null_count or texts.null_count or len(texts) > len(column)):
            return pa.DictionaryArray.from_arrays(column.indices.cast(pa.int32()), _written(texts))
        column = column.dictionary_decode()
    if plain:
        return _written(column)
    if pa.types.is_string(column.type):
        column = pc.fill_null(column, "")  # an empty text may stand beside what is absent
    coded = pc.dictionary_encode(column, "encode")
    return pa.DictionaryArray.from_arrays(coded.indices, _written(coded.dictionary))


def _written(column: Any) -> Any:
    """Write values as text, blanks as "" and days as year-month-day."""
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = column.type
    if pa.types.is_timestamp(kind):
        days = column.cast(pa.date32(), safe=False)
        column = days if pc.all(pc.equal(days.cast(kind), column)).as_py() is not False else column
    return pc.fill_null(column.cast(pa.string()), "")


def _of_text(path: Path, name: str, header: Sequence[str]) -> Iterator[pa.Table]:
    """Read a text file; a row of too few or too many cells is kept, as a sheet keeps it."""
    import pyarrow as pa
    import pyarrow.csv as pc

    sign, own = _sign(path, name)
    uneven: dict[int, str] = {}

    def keep(row: Any) -> str:
        uneven[row.number] = row.text
        return "skip"

    reader = pc.open_csv(
        path,
        read_options=pc.ReadOptions(use_threads=False, block_size=_BLOCK, column_names=own, skip_rows=1),
        parse_options=pc.ParseOptions(
            delimiter=sign, ignore_empty_lines=False, newlines_in_values=True, invalid_row_handler=keep
        ),
        convert_options=pc.ConvertOptions(
            column_types=dict.fromkeys(own, pa.string()), strings_can_be_null=False
        ),
    )
    row = 2
    for batch in reader:
        numbers = _numbers(row, len(batch), uneven)
        yield pa.table([*(batch.column(head) for head in header), pa.array(numbers)], names=[*header, _ROW])
        row = int(numbers[-1]) + 1 if len(numbers) else row
    if uneven:
        place = {head: number for number, head in enumerate(own)}
        cells = [next(csv.reader([text], delimiter=sign)) + [""] * len(own) for text in uneven.values()]
        columns = [pa.array([row[place[head]] for row in cells], pa.string()) for head in header]
        yield pa.table([*columns, pa.array(list(uneven), pa.int64())], names=[*header, _ROW])


def _ahead(batches: Iterable[Any]) -> Iterator[Any]:
    """Take batches one before they are asked for: the next is read while the last is worked on."""
    batches = iter(batches)
    with ThreadPoolExecutor(1) as beside:
        coming = beside.submit(next, batches, None)
        while (batch := coming.result()) is not None:
            coming = beside.submit(next, batches, None)
            yield batch


def _numbers(first: int, count: int, uneven: dict[int, str]) -> np.ndarray[Any, Any]:
    """Give rows the numbers of a spreadsheet, from ``first``, without those that come apart."""
    apart = [number for number in uneven if number >= first]
    numbers = np.arange(first, first + count + len(apart), dtype=np.int64)
    return numbers[~np.isin(numbers, apart)][:count] if apart else numbers


def _placed(table: pa.Table, file: int) -> pa.Table:
    import pyarrow as pa

    return table.append_column(_FILE, pa.array(np.full(len(table), file, dtype=np.int32)))


@dataclass
class Scattered:
    """Rows parted over files so that what belongs together lies in one.

    Attributes
    ----------
    paths
        One file a part; absent where it has no row.
    rows
        How many rows there are.
    words
        How often each text stands in the columns that were counted, by column.
    """

    paths: list[Path]
    rows: int = 0
    words: dict[str, Counter[str]] = field(default_factory=dict)


def place_of(text: str, parts: int) -> int:
    """Which part a text belongs to."""
    return zlib.crc32(text.encode("utf-8", "surrogatepass")) % parts


def scatter(
    batches: Batches,
    together: Sequence[str],
    fold: Callable[[str], str],
    home: Path,
    parts: int,
    counted: Sequence[str] = (),
) -> Scattered:
    """Part the rows over files by the texts of some columns.

    Parameters
    ----------
    batches
        The rows.
    together
        Columns; rows alike in them, once folded, come into one part, in the order of the files.
    fold
        Writes alike what is to be taken as alike.
    home
        Folder for the parts.
    parts
        How many.
    counted
        Columns whose texts are counted.
    """
    import pyarrow as pa

    done = Scattered([home / f"{number}.arrow" for number in range(parts)])
    done.words = {name: Counter() for name in counted}
    known: dict[tuple[str, ...], int] = {}
    plain: set[str] = set()  # columns with many texts, which are written out
    written = None
    # The last batch is written while the next is parted, and before the files are closed, whatever comes.
    with ExitStack() as until, ThreadPoolExecutor(1) as beside:
        writers: dict[int, Any] = {}
        for table in batches.each(plain=plain):
            # One was read before it was known which columns are plain.
            table = _again(table, [name for name in plain if _is_coded(table, name)], coded=False)
            coded = {
                name: table.column(name).combine_chunks() for name in batches.header if name not in plain
            }
            for name in counted:
                times = np.bincount(coded[name].indices.to_numpy(), minlength=len(coded[name].dictionary))
                texts = coded[name].dictionary.to_pylist()
                done.words[name].update({text: n for text, n in zip(texts, times.tolist(), strict=True) if n})
            part = _parts([coded[name] for name in together], len(table), fold, known, parts)
            many = {name for name, column in coded.items() if len(column.dictionary) > _MANY}
            if not done.rows:  # the first batch tells which
                plain |= many - {*together, *counted}
                table = _again(table, plain, coded=False)
            order = np.argsort(part, kind="stable")
            sorted_rows, ends = table.take(pa.array(order)), np.cumsum(np.bincount(part))
            for number in np.unique(part):
                if number not in writers:
                    writers[number] = until.enter_context(_writer(done.paths[number], sorted_rows.schema))
            if written is not None:
                written.result()
            written = beside.submit(_write, writers, sorted_rows, ends, many - plain)
            done.rows += len(table)
            tell(f"{done.rows:,} records of {batches.name}, sorted by place")
        if written is not None:
            written.result()
    return done


def _is_coded(rows: pa.Table, name: str) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_dictionary(rows.schema.field(name).type))


def _write(
    writers: Mapping[int, Any], rows: pa.Table, ends: np.ndarray[Any, Any], many: Collection[str]
) -> None:
    """Write rows that stand part by part, each part up to its end, to the writers of the parts."""
    begin = 0
    for number, end in enumerate(ends.tolist()):
        if end > begin:
            own = rows.slice(begin, end - begin).combine_chunks()
            # Texts that no row of a part has would be written for every part.
            writers[number].write_table(_again(own, many, coded=True))
        begin = end


def _again(rows: pa.Table, names: Collection[str], *, coded: bool) -> pa.Table:
    """Write the texts of some columns out, or code them anew."""
    for name in names:
        texts = rows.column(name).combine_chunks().dictionary_decode()
        new = texts.dictionary_encode() if coded else texts
        rows = rows.set_column(rows.column_names.index(name), name, new)
    return rows


def _writer(path: Path, schema: pa.Schema) -> Any:
    import pyarrow as pa

    return pa.ipc.new_stream(str(path), schema, options=pa.ipc.IpcWriteOptions(compression="lz4"))


def _parts(
    coded: Sequence[Any],
    rows: int,
    fold: Callable[[str], str],
    known: dict[tuple[str, ...], int],
    parts: int,
) -> np.ndarray[Any, Any]:
    """Part of each row."""
    if not coded:
        return np.zeros(rows, dtype=np.int64)
    codes = pd.DataFrame({n: array.indices.to_numpy() for n, array in enumerate(coded)})
    texts = [array.dictionary.to_pylist() for array in coded]
    group = codes.groupby(list(codes), sort=False)
    number, first = group.ngroup().to_numpy(), codes.drop_duplicates().to_numpy()
    for row in first:
        key = tuple(texts[n][code] for n, code in enumerate(row))
        if key not in known:
            known[key] = place_of("|".join(map(fold, key)), parts)
    of_group = [known[tuple(texts[n][code] for n, code in enumerate(row))] for row in first]
    return np.array(of_group, dtype=np.int64)[number]


@dataclass(frozen=True)
class Cells:
    """Cells of a batch or part: each distinct text once, and codes into these.

    Attributes
    ----------
    columns
        Codes and texts of each column.
    row, file
        Where each row stood; rows go by file, then by row.
    """

    columns: tuple[tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]], ...]
    row: np.ndarray[Any, Any]
    file: np.ndarray[Any, Any]

    def take(self, rows: np.ndarray[Any, Any]) -> Cells:
        """Give some of the rows."""
        columns = tuple(_used(codes[rows], texts) for codes, texts in self.columns)
        return Cells(columns, self.row[rows], self.file[rows])

    def filled(self) -> Cells:
        """Leave out the rows of which every cell is blank."""
        blank = np.ones(len(self.row), dtype=bool)
        for codes, texts in self.columns:
            blank &= (texts == "")[codes] if len(texts) else True
        return self.take(np.flatnonzero(~blank)) if blank.any() else self

    def table(self) -> pd.DataFrame:
        """Give the cells as categories, each a text."""
        coded = (pd.Categorical.from_codes(codes, pd.Index(texts)) for codes, texts in self.columns)
        return pd.DataFrame(dict(enumerate(coded)))


def _used(
    codes: np.ndarray[Any, Any], texts: np.ndarray[Any, Any]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Leave out the texts that no cell has."""
    used = np.zeros(len(texts), dtype=bool)
    used[codes] = True
    return (np.cumsum(used, dtype=np.int32) - 1)[codes], texts[used]


def read_part(path: Path) -> Cells:
    """Read one part."""
    import pyarrow as pa

    with pa.memory_map(str(path)) as source:
        cells = cells_of(pa.ipc.open_stream(source).read_all())
    pa.default_memory_pool().release_unused()  # a hundred megabytes in each program that reads parts
    return cells


def cells_of(table: pa.Table) -> Cells:
    """Give the cells of a batch or part."""
    row, file = (table.column(name).to_numpy() for name in (_ROW, _FILE))
    order = np.lexsort((row, file))
    columns = []
    for name in table.column_names[: table.num_columns - 2]:
        coded = table.column(name).combine_chunks().dictionary_encode()
        texts = np.array(coded.dictionary.to_pylist(), dtype=object)
        columns.append(_used(coded.indices.to_numpy()[order], texts))
    return Cells(tuple(columns), row[order], file[order])
