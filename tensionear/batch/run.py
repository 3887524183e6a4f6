"""A batch from jobs to a finished result. Imports all of the batch below it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from .matching import superseded, work_of
from .pool import Stop
from .results import Results
from .tally import Tally
from .values import Answer, Job, Row, Unchanged, Work, shown_name


class Reader(Protocol):
    """Whoever reads tasks: this process, worker processes here, or a cluster."""

    def answers(self, works: Iterator[Work], stop: Stop) -> Iterator[Answer]:
        """One answer a work, in any order; once ``stop`` is set no further one is taken."""
        ...


#: Told of each row, and whether it was there already.
Seen = Callable[[Row, bool], None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run came to: the counts of the finished result, and where rows of files no longer given were set by."""

    tally: Tally
    done: bool
    set_by: Path | None = None


def run_batch(jobs: Sequence[Job], results: Results, reader: Reader, stop: Stop, seen: Seen) -> Outcome:
    """Read what is not read yet and put the result in order; also when stopped, then with the rows there are.

    Raises
    ------
    TensionearError
        If the result cannot be written, or the cluster is lost. The rows so far stay in the journal.
    """
    done = 0
    for row, kept in _rows(jobs, results, reader, stop):
        done += 1
        seen(row, kept)
    return finish(jobs, results, done == len(jobs))


def _rows(jobs: Sequence[Job], results: Results, reader: Reader, stop: Stop) -> Iterator[tuple[Row, bool]]:
    """The row of each job as it comes, in the journal already."""
    by_number = {job.number: job for job in jobs}
    works = (work_of(job, results.known(job)) for job in jobs)
    for answer in reader.answers(works, stop):
        yield taken_in(answer, results, by_number[answer.number])


def taken_in(answer: Answer, results: Results, job: Job) -> tuple[Row, bool]:
    """An answer as a row that is in the journal, and whether it was there already."""
    if isinstance(answer, Unchanged):
        return results.keep(job, answer.key), True
    results.add(answer)
    return answer, False


def finish(jobs: Sequence[Job], results: Results, done: bool) -> Outcome:
    """Put the rows of these jobs into the result, in order, each attempt linked to the next."""
    tally = Tally()
    given = {shown_name(job.file) for job in jobs}
    set_by = results.set_by() if any(file not in given for file in results.files()) else None

    def counted() -> Iterator[Row]:
        for row in linked(jobs, results):
            tally.count(row)
            yield row

    results.finish(counted())
    return Outcome(tally, done, set_by)


def linked(jobs: Sequence[Job], results: Results) -> Iterator[Row]:
    """The rows there are of these jobs, in their order."""
    read = {job.number for job in jobs if results.has_reading(job.file)}
    after, before = superseded(jobs, read)
    for job in jobs:
        for row in results.rows([job.file]):
            yield replace(
                row.tagged(job),
                supersedes=shown_name(before.get(job.number, "")),
                superseded_by=shown_name(after.get(job.number, "")),
            )
