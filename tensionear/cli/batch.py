"""``tensionear batch``: many recordings. Imports errors; the batch when it runs."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import UsageError

if TYPE_CHECKING:
    from tensionear.batch.hook import Hook
    from tensionear.batch.matching import Inputs
    from tensionear.batch.pool import Stop
    from tensionear.batch.results import Results
    from tensionear.batch.run import Outcome, Reader
    from tensionear.batch.values import Job, Row

NOT_WITHIN, NONE_READ, INTERRUPTED = 1, 2, 130
#: What a file may take if nothing is said, s: twenty minutes of sound at four times real time.
LIMIT_S = 300.0

#: Files of a table that are not there are named up to so many.
MOST_NAMED = 5


def batch(
    out: Annotated[str, typer.Option(metavar="FILE", help="The result, one row a file: .jsonl, .csv or .parquet.")],
    paths: Annotated[
        list[str] | None, typer.Argument(metavar="PATH...", help="Files, folders, patterns in quotes, addresses.")
    ] = None,
    wheel: Annotated[str | None, typer.Option(metavar="FILE", help="One wheel file for all.")] = None,
    wheels: Annotated[
        str | None, typer.Option(metavar="DIR", help="Wheel files: mill.toml is for mill-07.wav, and all in mill/.")
    ] = None,
    table: Annotated[
        str | None, typer.Option("--map", metavar="CSV", help="file, wheel, first, order, direction, state, serial ...")
    ] = None,
    workers: Annotated[int | None, typer.Option(metavar="N", min=0, help="Worker processes; one a core.")] = None,
    time_limit: Annotated[float, typer.Option(metavar="SECONDS", min=1, help="What a file may take.")] = LIMIT_S,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Read on a Dask cluster: tcp://HOST:PORT, or local:N.")
    ] = None,
    watching: Annotated[bool, typer.Option("--watch", help="Read files as they arrive in the folders.")] = False,
    on_result: Annotated[
        str | None, typer.Option(metavar="COMMAND", help="Run at each result: COMMAND VERDICT FILE.")
    ] = None,
    report: Annotated[str | None, typer.Option(metavar="FILE.html", help="Charts and lists of all rows.")] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Exit code 1 unless all wheels are within.")] = False,
) -> None:
    """Many recordings, on all cores: --wheel FILE, --wheels DIR, --map CSV, or NAME.toml beside NAME.wav.

    Run it again to go on where it stopped: only what is new or changed is read.
    """
    from tensionear.batch.hook import hook_of
    from tensionear.batch.matching import Inputs, jobs_of, matcher_of, unmatched
    from tensionear.batch.results import Results
    from tensionear.batch.watch import check_folders

    inputs = Inputs(tuple(paths or ()), wheel, wheels, table)
    if watching and cluster is not None:
        raise UsageError("--watch reads on this machine; leave out --cluster")
    if report is not None and Path(report).suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--report {report}: the report is a page; give a name that ends in .html")
    matcher = matcher_of(inputs)
    hook = None if on_result is None else hook_of(on_result)
    reader = _reader(workers, time_limit, cluster)
    if watching:
        check_folders(inputs.paths)
    jobs = [] if watching else jobs_of(inputs, matcher)
    if jobs and not any(job.wheel_file for job in jobs):
        raise UsageError(f"{jobs[0].reason}; give --wheel FILE, --wheels DIR or a table with --map CSV")
    if not watching and (lost := unmatched(matcher, jobs)):
        named = ", ".join(lost[:MOST_NAMED]) + (" ..." if len(lost) > MOST_NAMED else "")
        _say_error(f"{len(lost)} of {len(matcher.entries)} files in {table} are not among those given: {named}")
    started = time.monotonic()
    with Results(Path(out)) as results, _stopping() as stop:
        run = _Run(results, reader, stop, hook)
        outcome = run.watch(inputs) if watching else run.all(jobs)
    _say_summary(outcome, Path(out), time.monotonic() - started)
    if report is not None:
        _write_report(Path(report), Path(out))
    if not outcome.done:
        raise typer.Exit(INTERRUPTED)
    if outcome.tally.none_read:
        _say_error(f"tensionear: no file could be read; {out} tells why")
        raise typer.Exit(NONE_READ)
    if strict and not outcome.tally.all_within:
        raise typer.Exit(NOT_WITHIN)


@dataclass(frozen=True, slots=True)
class _Run:
    """One run, and how its rows are told."""

    results: Results
    reader: Reader
    stop: Stop
    hook: Hook | None

    def all(self, jobs: list[Job]) -> Outcome:
        """Read all that is not read yet."""
        from tensionear.batch.progress import Progress
        from tensionear.batch.run import run_batch

        progress = Progress(len(jobs), sys.stderr)
        progress.begin()
        try:
            return run_batch(jobs, self.results, self.reader, self.stop, self._seen(progress.count, progress.aside))
        finally:
            progress.end()

    def watch(self, inputs: Inputs) -> Outcome:
        """Read what arrives, a line each."""
        from tensionear.batch.watch import watch

        _say_error(f"watching {', '.join(inputs.paths)}; Ctrl-C stops")
        seen = self._seen(_say_row, _say_error)
        return watch(inputs, self.results, self.reader, self.stop, seen, _say_error)

    def _seen(self, count: Callable[[Row, bool], None], aside: Callable[[str], None]) -> Callable[[Row, bool], None]:
        """Count each row, and run the command at each that is new."""

        def seen(row: Row, kept: bool) -> None:
            count(row, kept)
            said = None if self.hook is None or kept else self.hook.run(row)
            if said:
                aside(said)

        return seen


def _reader(workers: int | None, limit_s: float, cluster: str | None) -> Reader:
    """Who reads."""
    from tensionear.batch.pool import Pool, Serial

    if cluster is not None:
        from tensionear.batch.cluster import Cluster

        if workers is not None:
            raise UsageError(f"--workers {workers} is for this machine; with --cluster the cluster's workers read")
        return Cluster(cluster, limit_s)
    if workers == 0:
        return Serial()
    return Pool(workers or _cores(), limit_s)


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def _stopping() -> Iterator[Stop]:
    """Ctrl-C and a friendly end by the system finish what is being read; a second Ctrl-C stops at once."""
    from tensionear.batch.pool import Stop

    stop = Stop()

    def told(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - how handlers are called
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()
        os.write(2, b"\nstopping: finishing the files that are being read; once more stops at once\n")

    numbers = [signal.SIGINT, signal.SIGTERM]
    before = [signal.signal(number, told) for number in numbers]
    try:
        yield stop
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)


def _say_row(row: Row, kept: bool) -> None:
    """One line a row while watching."""
    from tensionear.batch.tally import word_of

    spreads = (
        (side, getattr(row, f"{side}_mean_n"), getattr(row, f"{side}_spread_percent")) for side in ("right", "left")
    )
    told = [
        f"{side} {mean:.0f} N, spread {spread:.1f} %"
        for side, mean, spread in spreads
        if mean is not None and spread is not None
    ]
    parts = [word_of(row), row.file, *told, *([row.reason] if row.reason else []), *(["as before"] if kept else [])]
    sys.stdout.write("  ".join(parts) + "\n")
    sys.stdout.flush()


def _say_error(text: str) -> None:
    sys.stderr.write(f"{text}\n")
    sys.stderr.flush()


def _say_summary(outcome: Outcome, out: Path, spent_s: float) -> None:
    """What it came to."""
    from tensionear.batch.progress import duration_told

    tally = outcome.tally
    sys.stdout.write(f"{tally.rows} {'row' if tally.rows == 1 else 'rows'} in {out}: {tally.told()}\n")
    for file, reason in tally.failures:
        sys.stdout.write(f"  {reason if file in reason else f'{file}: {reason}'}\n")
    if tally.unreadable > len(tally.failures):
        sys.stdout.write(f"  and {tally.unreadable - len(tally.failures)} more: see the rows with status failed\n")
    sys.stdout.write(f"{duration_told(tally.sound_s)} of sound, {duration_told(spent_s)} spent\n")
    if outcome.set_by is not None:
        _say_error(f"rows of files that were not given this time were left out; they are kept in {outcome.set_by}")
    if not outcome.done:
        _say_error("stopped before all files were read; run the same command again to go on")


def _write_report(report: Path, out: Path) -> None:
    from tensionear.batch.report import report_page
    from tensionear.batch.results import read_rows
    from tensionear.records.files import write_whole

    write_whole(report, report_page(read_rows(out), out.name).encode())
    sys.stdout.write(f"{report}\n")
