"""Results as Parquet, through pyarrow, in groups of rows. Imports lines, values, errors; pyarrow when it is needed.

pyarrow is an extra, not a dependency: its wheel alone is larger than this package and most of what it needs together, and CSV
and JSON lines hold the same rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from tensionear.errors import InputError, UsageError

from .lines import KINDS, plain_row, row_from
from .values import COLUMNS, Row

#: Rows held in memory at a time.
_GROUP = 500


def require(path: Path) -> None:
    """Refuse early what could only fail at the end."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        raise UsageError(
            f"--out {path}: Parquet needs pyarrow, which is not installed; run: pip install 'tensionear[parquet]', "
            "or write .jsonl or .csv"
        ) from None


def _schema() -> Any:
    import pyarrow as pa

    types = {str: pa.string(), float: pa.float64(), int: pa.int64()}
    return pa.schema([(name, pa.list_(types[kind]) if many else types[kind]) for name, (kind, many) in KINDS.items()])


def write_parquet(path: Path, rows: Iterable[Row]) -> None:
    """Write rows, some hundred at a time."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = _schema()
    left = iter(rows)
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        while group := [plain_row(row) for row in islice(left, _GROUP)]:
            columns = {name: [row[name] for row in group] for name in COLUMNS}
            writer.write_table(pa.table(columns, schema=schema))


def read_parquet(path: Path) -> Iterator[Row]:
    """The rows of a file, some hundred at a time."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(batch_size=_GROUP):
                yield from (row_from(row) for row in batch.to_pylist())
    except (pa.ArrowException, OSError, InputError):
        raise UsageError(f"{path} is no result of a batch that can be taken up; name another file for --out") from None
