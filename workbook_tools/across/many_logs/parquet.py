"""The gathered tables as Parquet: their types, and their bytes. pyarrow is loaded here and nowhere else."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from workbook_tools import __version__
from workbook_tools.across.many_logs.columns import DATE, DAYS, NUMBER, TEXT, TIME, TRUTH, WHOLE, Field, kinds
from workbook_tools.errors import MissingLibraryError
from workbook_tools.layout import case_log

LIBRARY, EXTRA = "pyarrow", "programme"
FORM = "1"  # of the folder: names of its parts, what stands in them
COMPRESSION = "zstd"


@cache
def library() -> Any:
    """pyarrow with its Parquet and computing parts; raises MissingLibraryError."""
    try:
        import pyarrow
        import pyarrow.compute
        import pyarrow.parquet
    except ImportError as error:
        raise MissingLibraryError(LIBRARY, EXTRA, "Gathering logs into one table") from error
    return pyarrow


@cache
def schema(name: str) -> Any:
    """Columns of a table with their types; headings and units are kept beside them."""
    arrow = library()
    types = {
        TEXT: arrow.string(),
        NUMBER: arrow.float64(),
        DAYS: arrow.float64(),
        DATE: arrow.date32(),
        TIME: arrow.time64("us"),
        WHOLE: arrow.int64(),
        TRUTH: arrow.bool_(),
    }
    fields = [arrow.field(one.name, types[one.kind], metadata=_said(one)) for one in kinds()[name].fields]
    return arrow.schema(fields, metadata={"form": signature()})


def _said(one: Field) -> dict[str, str]:
    return {key: said for key, said in (("heading", one.says), ("unit", one.unit)) if said}


@cache
def signature() -> str:
    """What rows depend on besides the files: the tools' version, the layout's, the columns and how they are stored."""
    fields = [(kind.name, [(one.name, one.kind) for one in kind.fields]) for kind in kinds().values()]
    text = repr((FORM, __version__, case_log().version, fields))
    return hashlib.blake2b(text.encode(), digest_size=10).hexdigest()


def arrow_table(name: str, columns: Mapping[str, Sequence[Any]]) -> Any:
    """Rows, column by column, as a table."""
    arrow = library()
    shape = schema(name)
    return arrow.table([arrow.array(columns[one.name], one.type) for one in shape], schema=shape)


def parquet_bytes(rows: Any) -> bytes:
    """A table as the bytes of a Parquet file; the same rows give the same bytes."""
    sink = io.BytesIO()
    library().parquet.write_table(rows, sink, compression=COMPRESSION, use_dictionary=True, version="2.6")
    return sink.getvalue()


def unpacked(content: bytes) -> Any:
    """The table behind such bytes."""
    return library().parquet.read_table(io.BytesIO(content), partitioning=None)


def stored(path: Path, columns: Sequence[str] | None = None) -> Any:
    """The table of one Parquet file, or some of its columns."""
    return library().parquet.ParquetFile(path).read(columns=columns)


def joined(name: str, tables: Sequence[Any], order: Mapping[str, int]) -> Any:
    """Rows of some files of several tables, in the order of their files; rows of one file stay as they are."""
    arrow = library()
    whole = arrow.concat_tables([schema(name).empty_table(), *tables])
    place = arrow.compute.index_in(whole["log_file"], arrow.array(list(order), arrow.string())).combine_chunks()
    sorted_ = arrow.compute.array_sort_indices(place)  # stable, nulls last: rows of other files
    return whole.take(sorted_[: len(place) - place.null_count]).combine_chunks()
